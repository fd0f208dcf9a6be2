package agent

import (
	"context"
	"sync/atomic"
	"time"

	"thudbook/sync/home"
)

// storeSize adds up what the store takes on the disk. Listing a hundred
// thousand attachments takes a while, so that happens beside everything else:
// once after the start, and then seldom.
type storeSize struct {
	home        *home.Home
	attachments atomic.Int64
}

const sizeEvery = 10 * time.Minute

func newStoreSize(h *home.Home) *storeSize { return &storeSize{home: h} }

// bytes is the store's file and, as of the last count, the attachments.
func (s *storeSize) bytes() int64 { return s.home.Store.Stats().FileBytes + s.attachments.Load() }

// run counts until ctx ends.
func (s *storeSize) run(ctx context.Context) error {
	timer := time.NewTimer(time.Second)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		}
		var sum int64
		var failed error
		for ref, err := range s.home.Blobs.List(ctx) {
			if err != nil {
				failed = err
				break
			}
			sum += ref.Size
		}
		if failed == nil {
			s.attachments.Store(sum)
		}
		timer.Reset(sizeEvery)
	}
}

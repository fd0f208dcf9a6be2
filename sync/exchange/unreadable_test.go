package exchange_test

import (
	"context"
	"io"
	"syscall"
	"testing"

	"thudbook/sync/blob"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// worn is a disk on which one attachment cannot be read, or ends early.
type worn struct {
	blob.Store
	bad  record.Hash
	ends bool
}

func (w *worn) Open(ctx context.Context, h record.Hash) (blob.Reader, int64, error) {
	r, size, err := w.Store.Open(ctx, h)
	if err != nil || h != w.bad {
		return r, size, err
	}
	return &wornReader{r, w.ends}, size, nil
}

type wornReader struct {
	blob.Reader
	ends bool
}

func (w *wornReader) ReadAt(b []byte, offset int64) (int, error) {
	if !w.ends {
		return 0, syscall.EIO
	}
	n, err := w.Reader.ReadAt(b[:min(len(b), 10)], offset)
	if err == nil && n < len(b) {
		err = io.EOF
	}
	return n, err
}

// An attachment that this disk does not give must not hold up the others, and
// is no fault of the link or of the server.
func TestUnreadableAttachmentStopsOnlyItself(t *testing.T) {
	t.Parallel()
	for name, ends := range map[string]bool{"an error of the disk": false, "a file that ends early": true} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t)
			bad := exchangetest.Shot(t, w.agent, w.lab, "bad", []byte("bytes behind a bad sector"))
			exchangetest.Shots(t, w.agent, w.lab, 5, 100)
			o := exchangetest.Options(w.agent, w.service)
			o.Blobs = &worn{Store: w.agent.Blobs, bad: bad.Attachments[0].SHA256, ends: ends}
			res, err := exchange.Run(t.Context(), o, w.peer())
			if err != nil || res.BlobsSent != 5 {
				t.Errorf("%d attachments sent, %v, want the 5 good ones", res.BlobsSent, err)
			}
			if len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.Damaged {
				t.Errorf("notices: %v, want one of the bytes on this side", res.Notices)
			}
			if r := w.stored(t); r.Seq != 7 || r.CompleteThrough != 1 {
				t.Errorf("receipt for %d, complete through %d, want 7, 1", r.Seq, r.CompleteThrough)
			}
		})
	}
}

package home

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"thudbook/sync/problem"
)

// mendEvery is how often a stopped store is looked for, and tried again.
const mendEvery = time.Second

// troubleShown is for how long a person is told of a store that was mended.
const troubleShown = 15 * time.Minute

// Trouble is the last time that the store could not be written.
type Trouble struct {
	Since  time.Time
	Mended time.Time // zero while nothing can be written
	Err    error     // what stopped it, or what keeps it stopped
}

// mender opens the store again after a write whose outcome is unknown.
type mender struct {
	mu   sync.Mutex
	last *Trouble
}

// Mend watches over the ledger until ctx ends: after a write whose outcome is
// unknown (a full disk, one that fails) it opens the store again, reads what is
// really there and lets work go on, as soon as the disk allows it. Meanwhile
// nothing is written and nothing acknowledged. It always returns nil.
func (h *Home) Mend(ctx context.Context, log *slog.Logger) error {
	tick := time.NewTicker(mendEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			h.mendOnce(ctx, log)
		}
	}
}

func (h *Home) mendOnce(ctx context.Context, log *slog.Logger) {
	cause := h.Ledger.Faulted()
	if cause == nil {
		return
	}
	if isNew := h.mender.stopped(h.now(), cause); isNew {
		log.Error("the store cannot be written; nothing is acknowledged until it was opened again", "error", cause)
	}
	err := h.Ledger.Recover(ctx)
	switch {
	case ctx.Err() != nil:
	case err != nil && h.Ledger.Faulted() != nil:
		if h.mender.still(err) {
			log.Error("the store is still stopped; it is tried again every second", "error", err)
		}
	case err != nil: // records can be written; the views are completed at the next chance
		log.Error("the store was opened again, something could not be completed", "error", err)
		h.mender.mended(h.now())
	default:
		log.Info("the store was opened again and takes records")
		h.mender.mended(h.now())
	}
}

// stopped notes that nothing can be written, and tells whether that is news.
func (m *mender) stopped(now time.Time, err error) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.last != nil && m.last.Mended.IsZero() {
		return false
	}
	m.last = &Trouble{Since: now, Err: root(err)}
	return true
}

// still notes why the store stays stopped, and tells whether that is news.
func (m *mender) still(err error) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	was := m.last.Err.Error()
	m.last.Err = root(err)
	return m.last.Err.Error() != was
}

func (m *mender) mended(now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.last.Mended = now
}

// root gives what the system said, without the sentences around it.
func root(err error) error {
	for {
		switch e := err.(type) {
		case interface{ Unwrap() []error }:
			all := e.Unwrap()
			if len(all) == 0 {
				return err
			}
			err = all[len(all)-1]
		default:
			next := errors.Unwrap(err)
			if next == nil {
				return err
			}
			err = next
		}
	}
}

// Trouble tells when the store could not be written last; false when that is
// long past, or was never.
func (h *Home) Trouble() (Trouble, bool) {
	if err := h.Ledger.Faulted(); err != nil {
		h.mender.stopped(h.now(), err)
	}
	h.mender.mu.Lock()
	defer h.mender.mu.Unlock()
	t := h.mender.last
	if t == nil || !t.Mended.IsZero() && h.now().Sub(t.Mended) > troubleShown {
		return Trouble{}, false
	}
	return *t, true
}

// Words say what happened and what to do.
func (t Trouble) Words() *problem.Error {
	since := t.Since.Local().Format("15:04:05")
	p := &problem.Error{Code: problem.Unavailable, What: "Since " + since + " the store cannot be written (" + t.Err.Error() + "). Nothing is acknowledged that is not saved.",
		Fix: "Free space on the disk, or see whether it fails. Work goes on by itself as soon as it can; files of the acquisition wait where they are.", Err: t.Err}
	if !t.Mended.IsZero() {
		p.What = "At " + since + " the store could not be written (" + t.Err.Error() + "). It was opened again at " + t.Mended.Local().Format("15:04:05") + " and takes records; nothing that was acknowledged is missing."
		p.Fix = "See that the disk has room and does not fail. If this comes again, make a backup onto another disk."
	}
	return p
}

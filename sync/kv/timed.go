package kv

import (
	"context"
	"time"
)

// Timed tells how long each update took, its commit included; the store below
// knows nothing of it.
type Timed struct {
	Store
	Observe func(took time.Duration, err error)
}

// Update is that of the store below.
func (s Timed) Update(ctx context.Context, fn func(Tx) error) (err error) {
	defer func(began time.Time) { s.Observe(time.Since(began), err) }(time.Now())
	return s.Store.Update(ctx, fn)
}

// Reopen is that of the store below, if it has one.
func (s Timed) Reopen(ctx context.Context) error {
	if r, ok := s.Store.(Reopener); ok {
		return r.Reopen(ctx)
	}
	return nil
}

// Stopped is that of the store below, if it has one.
func (s Timed) Stopped() error {
	if r, ok := s.Store.(Reopener); ok {
		return r.Stopped()
	}
	return nil
}

package httpkit

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/google/uuid"
)

func TestOnce(t *testing.T) {
	t.Parallel()
	o := NewOnces()
	n := 0
	begun, end := make(chan struct{}), make(chan struct{})
	var all sync.WaitGroup
	all.Go(func() {
		to, err := o.do(t.Context(), "k", true, func(context.Context) (string, error) { n++; close(begun); <-end; return "/there", nil })
		if to != "/there" || err != nil {
			t.Errorf("first: %q, %v", to, err)
		}
	})
	<-begun
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := o.do(gone, "k", true, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("a caller that left waits on: %v", err)
	}
	close(end)
	all.Wait()
	if to, err := o.do(t.Context(), "k", true, nil); to != "/there" || err != nil || n != 1 {
		t.Errorf("second: %q, %v, done %d times", to, err, n)
	}
	fail := errors.New("no")
	for range 2 { // what failed is tried again
		if _, err := o.do(t.Context(), "f", true, func(context.Context) (string, error) { n++; return "", fail }); !errors.Is(err, fail) {
			t.Errorf("failed: %v", err)
		}
	}
	if n != 3 {
		t.Errorf("the failing one was tried %d times, want 2", n-1)
	}
	for i := range mostOnces + 10 {
		if _, err := o.do(t.Context(), uuid.NewString(), true, func(context.Context) (string, error) { return "", nil }); err != nil {
			t.Fatal(i, err)
		}
	}
	if len(o.runs) > mostOnces || len(o.order) > mostOnces {
		t.Errorf("%d runs are remembered", len(o.runs))
	}
}

// A form that panics is forgotten: who waits is told, and it can be sent again.
func TestOncePanics(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		o := NewOnces()
		end := make(chan struct{})
		var all sync.WaitGroup
		all.Go(func() {
			defer func() {
				if recover() == nil {
					t.Error("the panic was swallowed")
				}
			}()
			_, _ = o.do(t.Context(), "k", true, func(context.Context) (string, error) { <-end; panic("a fault of ours") })
		})
		synctest.Wait() // the first is under way
		all.Go(func() {
			if to, err := o.do(t.Context(), "k", true, nil); to != "" || !errors.Is(err, errBroken) {
				t.Errorf("second press: %q, %v", to, err)
			}
		})
		synctest.Wait() // the second waits
		close(end)
		all.Wait()
		if to, err := o.do(t.Context(), "k", true, func(context.Context) (string, error) { return "/there", nil }); to != "/there" || err != nil {
			t.Errorf("once more: %q, %v", to, err)
		}
	})
}

package exchange_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/record"
)

// A lab with a long queue does not keep another one waiting for more than one
// piece of work.
func TestLabsTakeTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		turns := exchange.NewTurns(1, 1, 100)
		busy, quiet := uuid.UUID{1}, uuid.UUID{2}
		var order []record.LabID
		work := func(lab record.LabID) {
			done, err := turns.Take(t.Context(), lab)
			if err != nil {
				t.Error(err)
				return
			}
			order = append(order, lab)
			time.Sleep(time.Second) // virtual
			done()
		}
		for range 20 {
			go work(busy)
		}
		synctest.Wait()
		time.Sleep(1500 * time.Millisecond)
		go work(quiet)
		time.Sleep(time.Minute)
		synctest.Wait() // for all of them, so that order can be read
		if i := slices.Index(order, quiet); len(order) != 21 || i < 2 || i > 3 {
			t.Errorf("the quiet lab came at place %d of %d, want 3 or 4", i+1, len(order))
		}
	})
}

func TestOneLabDoesNotHoldAllPlaces(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		turns := exchange.NewTurns(4, 2, 1)
		a, b := uuid.UUID{1}, uuid.UUID{2}
		var dones []func()
		take := func(lab record.LabID) {
			t.Helper()
			done, err := turns.Take(t.Context(), lab)
			if err != nil {
				t.Fatal(err)
			}
			dones = append(dones, done)
		}
		take(a)
		take(a)
		ctx, cancel := context.WithCancel(t.Context())
		waited := make(chan error, 1)
		go func() {
			_, err := turns.Take(ctx, a)
			waited <- err
		}()
		synctest.Wait() // it waits, although two places are free
		if _, err := turns.Take(ctx, a); exchange.WaitOf(err) <= 0 {
			t.Errorf("one too many: %v, want to be told to come again", err)
		}
		take(b)
		take(b)
		cancel()
		if err := <-waited; !errors.Is(err, context.Canceled) {
			t.Errorf("gave up: %v", err)
		}
		for _, done := range dones {
			done()
		}
		for range 4 { // every place came back
			take(uuid.New())
		}
	})
}

package desk

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/view"
	"thudbook/web/page"
)

func TestServiceInWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		interval, since int64
		level           page.Level
		word            string
	}{
		{0, 5000, page.Plain, "no interval set"},
		{1000, 899, page.OK, "due in 101 strokes"},
		{1000, 900, page.Warn, "due in 100 strokes"},
		{1000, 999, page.Warn, "due in 1 stroke"},
		{1000, 1000, page.Bad, "service due now"},
		{1000, 1001, page.Bad, "overdue by 1 stroke"},
		{1000, 3234, page.Bad, "overdue by 2\u202f234 strokes"},
	} {
		if s := service(&view.Usage{Interval: c.interval, StrokesSinceService: c.since}); s.Level != c.level || s.Word != c.word {
			t.Errorf("%d of %d: %+v, want %q", c.since, c.interval, s, c.word)
		}
	}
}

func TestCalibrationInWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		state view.Due
		days  int64
		level page.Level
		word  string
	}{
		{view.NotRequired, 0, page.Plain, "not required"},
		{view.NeverCalibrated, 0, page.Bad, "no calibration recorded"},
		{view.InCalibration, 200, page.OK, "in calibration"},
		{view.DueSoon, 29, page.Warn, "due in 29 days"},
		{view.DueSoon, 0, page.Warn, "due today"},
		{view.Overdue, -1, page.Bad, "overdue since less than a day"},
		{view.Overdue, -13, page.Bad, "overdue by 12 days"}, // 12 days and some hours, rounded down
	} {
		if s := calibration(&view.CalibrationState{State: c.state, Days: c.days}); s.Level != c.level || s.Word != c.word {
			t.Errorf("%s, %d days: %+v, want %q", c.state, c.days, s, c.word)
		}
	}
}

func TestClockInWords(t *testing.T) {
	t.Parallel()
	for off, want := range map[time.Duration]string{400 * time.Millisecond: "+0.4\u00a0s", -20 * time.Millisecond: "0.0\u00a0s", -45 * time.Second: "\u221245.0\u00a0s", -2 * time.Hour: "2\u00a0h slow", 61 * 365 * 24 * time.Hour: "22\u202f265\u00a0days fast"} {
		if got, _ := clock(off); got != want {
			t.Errorf("%s is shown as %q, want %q", off, got, want)
		}
	}
}

func TestOnce(t *testing.T) {
	t.Parallel()
	o := newOnces()
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
		o := newOnces()
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

func TestHandover(t *testing.T) {
	t.Parallel()
	now := time.Unix(1_800_000_000, 0)
	h := newHandover(func() time.Time { return now })
	me, other := uuid.New(), uuid.New()
	ticket := h.put(madeCode{by: me, code: "C"})
	if _, ok := h.take(ticket, other); ok {
		t.Error("another person takes the code")
	}
	if m, ok := h.take(ticket, me); !ok || m.code != "C" {
		t.Error("the code is not handed over")
	}
	if _, ok := h.take(ticket, me); ok {
		t.Error("the code is handed over twice")
	}
	ticket = h.put(madeCode{by: me, code: "D"})
	now = now.Add(handoverLife + time.Second)
	if _, ok := h.take(ticket, me); ok {
		t.Error("the code waits for ever")
	}
	h.put(madeCode{by: me, code: "E"})
	if len(h.kept) != 1 {
		t.Errorf("%d codes are kept", len(h.kept))
	}
}

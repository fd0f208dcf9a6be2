package desk

import (
	"testing"
	"time"

	"github.com/google/uuid"
)

func TestClockInWords(t *testing.T) {
	t.Parallel()
	for off, want := range map[time.Duration]string{400 * time.Millisecond: "+0.4\u00a0s", -20 * time.Millisecond: "0.0\u00a0s", -45 * time.Second: "\u221245.0\u00a0s", -2 * time.Hour: "2\u00a0h slow", 61 * 365 * 24 * time.Hour: "22\u202f265\u00a0days fast"} {
		if got, _ := clock(off); got != want {
			t.Errorf("%s is shown as %q, want %q", off, got, want)
		}
	}
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

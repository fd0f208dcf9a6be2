package httppeer_test

import (
	"bytes"
	"context"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// heard collects alarms.
type heard struct {
	mu    sync.Mutex
	kinds []string
}

func (h *heard) alarm(_ context.Context, a exchange.Alarm) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.kinds = append(h.kinds, a.Kind)
	return nil
}

func (h *heard) take() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := h.kinds
	h.kinds = nil
	return out
}

// withdrawn is a registry that has withdrawn every agent.
type withdrawn struct{ httppeer.Registry }

func (withdrawn) Principal(context.Context, record.NodeID) (exchange.Principal, error) {
	return exchange.Principal{}, problem.New(problem.Forbidden, "This agent was withdrawn.", "Enrol it again.")
}

// What no honest agent does is reported, as what it is; an honest session after
// all of it works, and raises nothing.
func TestHostilePeersAreReported(t *testing.T) {
	t.Parallel()
	r, h, now := newRig(t), &heard{}, time.Now()
	var err error
	r.service, err = exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: r.server.Ledger, Blobs: r.server.Blobs, Store: r.server.Store,
		Key: r.server.Node.PrivateKey, Alarm: h.alarm, Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{}))
	exchangetest.Shots(t, r.agent, r.lab, 3, 10)
	c := r.client(t, r.http.URL)
	bomb := bombOf(t, 16<<10)
	tok := token(t, r)
	push := func(change func(*exchange.Batch)) func() {
		return func() {
			b := batch(t, r, 0)
			change(&b)
			if _, err := c.Push(t.Context(), b); err == nil {
				t.Error("it was taken")
			}
		}
	}
	other := exchangetest.Lab(t)
	for what, x := range map[string]struct {
		do   func()
		want string
	}{
		"a signature of another": {push(func(b *exchange.Batch) { b.HeadSignature[0] ^= 1 }), exchange.PeerRefused},
		"an altered record":      {push(func(b *exchange.Batch) { b.Records[1] = bytes.Clone(b.Records[1]); b.Records[1][40] ^= 1 }), exchange.PeerRefused},
		"records in another order": {push(func(b *exchange.Batch) {
			b.Records[1], b.Records[2] = b.Records[2], b.Records[1]
		}), exchange.PeerRefused},
		"a record left out":    {push(func(b *exchange.Batch) { b.Records = slices.Delete(slices.Clone(b.Records), 1, 2) }), exchange.PeerRefused},
		"a record twice":       {push(func(b *exchange.Batch) { b.Records = slices.Insert(slices.Clone(b.Records), 1, b.Records[1]) }), exchange.PeerRefused},
		"another lab's chain":  {push(func(b *exchange.Batch) { b.Origin.Lab = other }), exchange.OtherLab},
		"another node's chain": {push(func(b *exchange.Batch) { b.Origin.Node[0] ^= 1 }), exchange.OtherLab},
		"another lab's attachments": {func() {
			if _, err := c.HaveBlobs(t.Context(), other, []exchange.BlobRef{{Size: 1}}); err == nil {
				t.Error("it was answered")
			}
		}, exchange.OtherLab},
		"wrong bytes": {func() {
			if err := c.PutBlob(t.Context(), r.lab, exchange.BlobRef{Size: 3, SHA256: record.Hash{1}}, bytes.NewReader([]byte("abc"))); err == nil {
				t.Error("they were taken")
			}
		}, exchange.PeerRefused},
		"a bomb": {func() {
			send(t, r, http.MethodPost, "/sync/v1/push/"+r.agent.Own(r.lab).String(), tok,
				map[string]string{"Content-Type": "application/vnd.thudbook.records", "Content-Encoding": "zstd"}, bomb)
		}, exchange.PeerRefused},
		"a name without its key": {func() {
			p := prove(r, challenge(t, r, r.agent.Node.ID))
			p.Signature[0] ^= 1
			post(t, r, "/sync/v1/session", p)
		}, exchange.WrongKey},
	} {
		x.do()
		if got := slices.Compact(h.take()); len(got) != 1 || got[0] != x.want { // the client may have tried twice
			t.Errorf("%s: alarms %v, want %s", what, got, x.want)
		}
	}
	// A session that is played again is refused and reported; a used nonce with
	// another signature is not the agent's doing.
	p := prove(r, challenge(t, r, r.agent.Node.ID))
	if status, _, _ := post(t, r, "/sync/v1/session", p); status != http.StatusOK {
		t.Errorf("a session: %d", status)
	}
	if status, _, _ := post(t, r, "/sync/v1/session", p); status != http.StatusUnauthorized {
		t.Errorf("the same session again: %d", status)
	}
	if got := h.take(); len(got) != 1 || got[0] != exchange.Replayed {
		t.Errorf("a session played again: alarms %v", got)
	}
	p.Signature[0] ^= 1
	if status, _, _ := post(t, r, "/sync/v1/session", p); status != http.StatusUnauthorized {
		t.Errorf("a used nonce with another signature: %d", status)
	}
	if _, err := r.run(t.Context(), c); err != nil {
		t.Errorf("the honest session: %v", err)
	}
	if got := h.take(); len(got) != 0 {
		t.Errorf("an honest session raised %v", got)
	}
	now = now.Add(72 * time.Hour)
	if _, err := r.run(t.Context(), r.client(t, r.http.URL)); err != nil {
		t.Errorf("with a clock that is off: %v", err)
	}
	if got := h.take(); len(got) != 1 || got[0] != exchange.ClockFarOff {
		t.Errorf("a clock three days off: %v", got)
	}
	// Withdrawn while its session is open: told at the next request.
	open := token(t, r)
	r.registry.Withdraw(r.agent.Node.ID)
	send(t, r, http.MethodPost, "/sync/v1/hello", open, nil, nil)
	if got := h.take(); len(got) != 1 || got[0] != exchange.RevokedTried {
		t.Errorf("withdrawn with a session open: %v", got)
	}
	r.serve(t, httppeer.NewHandler(r.service, withdrawn{r.registry}, httppeer.HandlerOptions{}))
	if _, err := r.run(t.Context(), r.client(t, r.http.URL)); problem.Of(err) != problem.Forbidden {
		t.Errorf("withdrawn: %v", err)
	}
	if got := h.take(); len(got) == 0 || got[0] != exchange.RevokedTried {
		t.Errorf("withdrawn: %v", got)
	}
}

package exchange

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"fmt"
	"slices"
	"time"
)

// hello greets the server, and takes from its answer what the session goes by.
func (s *session) hello(ctx context.Context) error {
	heads, err := s.heads(ctx)
	if err != nil {
		return err
	}
	q := HelloRequest{Protocols: Protocols(), Node: s.o.Ledger.Node(), Nonce: make([]byte, NonceSize),
		PendingRecords: s.o.Pending.Records, PendingBytes: s.o.Pending.Bytes, Software: s.o.Software,
		PendingAttachments: s.o.Pending.Attachments, Stuck: clipped(s.o.Pending.Stuck, maxStuck)}
	if !s.o.Pending.Oldest.IsZero() {
		q.OldestPendingMS = s.o.Pending.Oldest.UnixMilli()
	}
	for o, h := range heads {
		if o.Node == q.Node && h.Seq > 0 {
			q.Heads = append(q.Heads, HeadEntry{Origin: o, Seq: h.Seq, Hash: h.Hash})
		}
	}
	slices.SortFunc(q.Heads, func(a, b HeadEntry) int { return compareOrigins(a.Origin, b.Origin) })
	q.ServerNext = s.o.Server.Next
	if s.o.NextKey != nil {
		q.Rekey = NewRekey(q.Node, s.o.Key, s.o.NextKey)
	}
	if q.Receipts, err = s.shownReceipts(ctx); err != nil {
		return err
	}
	if _, err := rand.Read(q.Nonce); err != nil {
		return err
	}
	sent := s.o.Now()
	q.TimeMS = sent.UnixMilli()
	answer, err := s.peer.Hello(ctx, q)
	if err != nil {
		return fmt.Errorf("greet the server: %w", err)
	}
	back := s.o.Now()
	w, err := answer.Open(s.o.Server, &q)
	if err != nil {
		return err
	}
	s.w = w
	s.res.Welcomed = true
	if err := s.takeKeys(&answer, &q); err != nil {
		return err
	}
	s.res.Labs, s.res.Incarnation = w.Labs, w.Incarnation
	s.res.ServerTime = time.UnixMilli(w.TimeMS).UTC()
	s.res.RoundTrip = back.Sub(sent)
	middle := sent.Add(s.res.RoundTrip / 2)
	s.res.ClockOffset = middle.Sub(s.res.ServerTime).Round(time.Millisecond)
	if s.o.Only == nil { // a server that fetches from several goes by its own clock
		s.o.Ledger.Measured(s.res.ClockOffset)
	}
	return nil
}

// takeKeys goes on with the keys that both sides agree on.
func (s *session) takeKeys(answer *SignedWelcome, q *HelloRequest) error {
	s.res.ServerKey, _ = s.o.Server.signer(answer, q)
	s.o.Server.Key = s.res.ServerKey
	if r := s.w.ServerRekey; r != nil {
		if err := r.Verify(s.o.Server.ID, s.o.Server.Key); err != nil {
			return notTheServer(err)
		}
		s.res.ServerNextKey = r.New
	}
	if s.o.NextKey != nil && bytes.Equal(s.w.NodeKey, s.o.NextKey.Public().(ed25519.PublicKey)) {
		s.o.Key, s.res.Rekeyed = s.o.NextKey, true
	}
	return nil
}

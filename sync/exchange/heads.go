package exchange

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// TableSignedHeads keeps the heads that servers signed of their own chains:
// origin, seq -> hash, signature. With them a node can give a chain back to a
// server that lost the end of it.
const TableSignedHeads kv.Table = "exchange/signed"

const signedVersion = 1

func signedKey(o record.Origin, seq uint64) []byte {
	return kv.Join([]byte(originKey(o)), kv.U64(seq))
}

// keepSignedHeads notes what the welcome says of the server's own chains.
func (s *session) keepSignedHeads(ctx context.Context) error {
	var signed []HeadEntry
	for _, e := range s.w.Vector {
		if e.Origin.Node != s.o.Server.ID || len(e.Signature) == 0 {
			continue
		}
		if !receipt.VerifyHead(s.o.Server.Key, e.Origin, e.Head(), e.Signature) {
			return notTheServer(fmt.Errorf("the head of its chain %s is not signed by it", e.Origin))
		}
		signed = append(signed, e)
	}
	known, other := map[record.Origin]bool{}, map[record.Origin]bool{}
	err := s.o.Store.View(ctx, func(r kv.Reader) error {
		for _, e := range signed {
			b, err := r.Get(TableSignedHeads, signedKey(e.Origin, e.Seq))
			if err != nil {
				return err
			}
			known[e.Origin] = bytes.Equal(b, signedValue(e))
			other[e.Origin] = len(b) >= 1+len(e.Hash) && b[0] == signedVersion && record.Hash(b[1:33]) != e.Hash
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the server's signed heads: %w", err)
	}
	for i := range signed {
		if known[signed[i].Origin] {
			continue
		}
		if other[signed[i].Origin] {
			// The server was set back and wrote another record at this place. The
			// proof of what it lost stays, unless this node has the new one.
			mine, err := s.hashAt(ctx, signed[i].Origin, signed[i].Seq)
			if err != nil || mine != signed[i].Hash {
				continue
			}
		}
		err := s.o.Store.Update(ctx, func(tx kv.Tx) error {
			return tx.Put(TableSignedHeads, signedKey(signed[i].Origin, signed[i].Seq), signedValue(signed[i]))
		})
		if err != nil {
			return fmt.Errorf("keep the server's signed heads: %w", err)
		}
	}
	return nil
}

func signedValue(e HeadEntry) []byte { return kv.Join([]byte{signedVersion}, e.Hash[:], e.Signature) }

// signedAfter gives the signed heads of a chain beyond a place, in order.
func (s *session) signedAfter(ctx context.Context, o record.Origin, after uint64) (out []HeadEntry, err error) {
	from := []byte(originKey(o))
	err = s.o.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for e, err := range r.Scan(TableSignedHeads, signedKey(o, after+1), kv.PrefixEnd(from)) {
			if err != nil {
				return err
			}
			seq, _, err := kv.CutU64(e.Key[len(from):])
			if err != nil || len(e.Value) < 1+len(record.Hash{}) || e.Value[0] != signedVersion {
				continue // of another version: it proves nothing here
			}
			h := HeadEntry{Origin: o, Seq: seq, Hash: record.Hash(e.Value[1:33]), Signature: bytes.Clone(e.Value[33:])}
			out = append(out, h)
		}
		return nil
	})
	return out, err
}

// giveBack sends a server that was set back the records that it wrote itself
// and that are here, each run up to a head that it once signed.
func (s *session) giveBack(ctx context.Context) error {
	heads, err := s.heads(ctx)
	if err != nil {
		return err
	}
	there := make(map[record.Origin]record.Head, len(s.w.Vector))
	for _, e := range s.w.Vector {
		there[e.Origin] = e.Head()
	}
	for _, o := range slices.SortedFunc(maps.Keys(heads), compareOrigins) {
		h, t := heads[o], there[o]
		if o.Node != s.o.Server.ID || h.Seq < t.Seq || h == t || !s.sees(o.Lab) {
			continue
		}
		if t.Seq > 0 {
			mine, err := s.hashAt(ctx, o, t.Seq)
			if err != nil {
				s.leave(o, err)
				continue
			}
			if mine != t.Hash {
				if err := s.giveBackFork(ctx, o, t); err != nil {
					return err
				}
				continue
			}
		}
		if err := s.giveBackChain(ctx, o, t.Seq); err != nil {
			return err
		}
	}
	return nil
}

// giveBackFork gives a chain back to a server that wrote on in it after it was
// set back: from the last record that both share.
func (s *session) giveBackFork(ctx context.Context, o record.Origin, there record.Head) error {
	shared, err := s.sharedWith(ctx, o, there)
	if err != nil {
		return fmt.Errorf("compare %s with the server's copy: %w", o, err)
	}
	s.leave(o, &HeadError{Reason: Fork, Origin: o, Head: there})
	return s.giveBackChain(ctx, o, shared.Seq)
}

func (s *session) giveBackChain(ctx context.Context, o record.Origin, from uint64) error {
	signed, err := s.signedAfter(ctx, o, from)
	if err != nil {
		return fmt.Errorf("read the server's signed heads: %w", err)
	}
	for _, e := range signed {
		recs, err := s.o.Ledger.Read(ctx, o, from, MaxBatchBytes)
		if err != nil {
			s.notice(o, err)
			return nil
		}
		n := 0
		for n < len(recs) && recs[n].Seq <= e.Seq {
			n++
		}
		if n == 0 || recs[n-1].Head() != e.Head() {
			continue // the part up to this head is not here, or longer than a batch
		}
		b := Batch{Origin: o, HeadSignature: e.Signature}
		for i := range recs[:n] {
			b.Records = append(b.Records, recs[i].Raw)
		}
		if err := s.noteReturned(ctx, o.Lab, recs[:n]); err != nil {
			return err
		}
		if _, err := s.peer.Push(ctx, b); err != nil {
			s.notice(o, fmt.Errorf("give records %d to %d back to the server: %w", from+1, e.Seq, err))
			return nil
		}
		s.res.GivenBack += int64(n)
		from = e.Seq
	}
	return nil
}

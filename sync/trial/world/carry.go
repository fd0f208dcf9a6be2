package world

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// setBack takes notice of own chains whose end was carried over into the next
// epoch. Only a closed chain may lose its end, and each record of that must be
// among the stranded ones.
func (n *node) setBack(r kv.Reader, heads map[record.Origin]ledger.HeadEntry) error {
	for _, o := range origins(n.heads) {
		before := n.heads[o]
		if o.Node != n.id || heads[o].Head == before {
			continue
		}
		at := before.Seq
		for ; at > 0; at-- {
			same := heads[o].Seq >= at
			if same {
				h, err := hashAt(r, o, at)
				if err != nil {
					return err
				}
				same = h == n.at[record.Ref{Origin: o, Seq: at}]
			}
			if same {
				break
			}
		}
		if at == before.Seq {
			continue
		}
		if open := n.ledger.Own(o.Lab); open.Epoch <= o.Epoch {
			return fmt.Errorf("the open chain %s lost its records from %d to %d", o, at+1, before.Seq)
		}
		for seq := at + 1; seq <= before.Seq; seq++ {
			ref := record.Ref{Origin: o, Seq: seq}
			if err := n.strand(r, ref, n.at[ref]); err != nil {
				return fmt.Errorf("a closed chain lost a record: %w", err)
			}
			delete(n.at, ref)
			delete(n.moved, ref)
		}
		delete(n.stamps, o)
		n.heads[o] = record.Head{Seq: at, Hash: n.at[record.Ref{Origin: o, Seq: at}]}
		n.w.counts["chains whose end was carried over"]++
	}
	return nil
}

// hashAt gives the hash of one stored record, zero if there is none.
func hashAt(r kv.Reader, o record.Origin, seq uint64) (h record.Hash, err error) {
	for s, err := range ledger.Chain(r, o, seq-1) {
		if err == nil {
			err = s.Damage
		}
		if err != nil || s.Seq != seq {
			return h, err
		}
		return s.Record.Hash, nil
	}
	return h, nil
}

// strand: a record that left its place must be among the stranded ones; if it
// was acknowledged, it must be in a carrier from now on.
func (n *node) strand(r kv.Reader, ref record.Ref, want record.Hash) error {
	all, err := ledger.ScanStranded(r)
	if err != nil {
		return err
	}
	for _, e := range all {
		if e.Ref != ref || record.HashOf(e.Raw) != want {
			continue
		}
		if n.acked[ref] == want {
			delete(n.acked, ref)
			if !n.w.genesis[want] {
				n.kept[want] = true
			}
		}
		return nil
	}
	return fmt.Errorf("record %d of %s is neither in its place nor set aside", ref.Seq, ref.Origin)
}

// noteCarried keeps which record a carrier brings. The facts of this trial fit
// into one carrier each.
func (n *node) noteCarried(r *record.Record) error {
	if r.Kind == record.KindGenesis {
		n.w.genesis[r.Hash] = true
	}
	if r.Kind != record.KindRehomed {
		return nil
	}
	var h record.Rehomed
	if err := record.DecodeBody(r.Body, &h); err != nil {
		return err
	}
	if err := h.Check(r); err != nil {
		return err
	}
	inside, err := h.Open(r, h.Raw)
	if err != nil {
		return err
	}
	n.moved[r.Ref()] = inside.Hash
	return nil
}

// has gives all facts that are here, in their place or carried.
func (n *node) has() map[record.Hash]bool {
	all := map[record.Hash]bool{}
	for _, h := range n.at {
		all[h] = true
	}
	for _, h := range n.moved {
		all[h] = true
	}
	return all
}

// checkKept: an acknowledged record that lost its place is in a carrier.
func (n *node) checkKept() error {
	if len(n.kept) == 0 {
		return nil
	}
	has := n.has()
	var lost []record.Hash
	for h := range n.kept {
		if !has[h] {
			lost = append(lost, h)
		}
	}
	if len(lost) > 0 {
		return fmt.Errorf("acknowledged record %s was set aside, and no record carries it", first(lost))
	}
	return nil
}

// checkAcked: nothing that was ever acknowledged here is lost.
func (n *node) checkAcked(r kv.Reader) error {
	var gone []record.Ref
	for ref, want := range n.acked {
		if n.at[ref] != want {
			gone = append(gone, ref)
		}
	}
	slices.SortFunc(gone, func(a, b record.Ref) int {
		return cmp.Or(compare(a.Origin, b.Origin), cmp.Compare(a.Seq, b.Seq))
	})
	for _, ref := range gone {
		if err := n.strand(r, ref, n.acked[ref]); err != nil {
			return fmt.Errorf("an acknowledged record is lost: %w", err)
		}
	}
	return nil
}

// facts are the records that must reach every server: what their writer, a copy
// of it or a server holds. Those that only an agent fetched it may not send.
func (w *World) facts() map[record.LabID]map[record.Hash]string {
	all := map[record.LabID]map[record.Hash]string{}
	for _, n := range w.nodes() {
		add := func(ref record.Ref, h record.Hash) {
			if w.genesis[h] || !n.server && ref.Origin.Node != n.id {
				return
			}
			if all[ref.Origin.Lab] == nil {
				all[ref.Origin.Lab] = map[record.Hash]string{}
			}
			who := fmt.Sprintf("%s had record %d of %s", n.name, ref.Seq, ref.Origin)
			if old, ok := all[ref.Origin.Lab][h]; ok {
				who = min(who, old) // two carriers can bring one record
			}
			all[ref.Origin.Lab][h] = who
		}
		for ref, h := range n.at {
			if _, carrier := n.moved[ref]; !carrier { // carried on it keeps its body and gets new bytes
				add(ref, h)
			}
		}
		for ref, h := range n.moved {
			add(ref, h)
		}
	}
	return all
}

// arrived: all these facts are on every server.
func (w *World) arrived(facts map[record.LabID]map[record.Hash]string) error {
	for _, s := range w.serve {
		has := s.has()
		for _, lab := range s.labs {
			var lost []record.Hash
			for h := range facts[lab] {
				if !has[h] {
					lost = append(lost, h)
				}
			}
			if len(lost) > 0 {
				h := first(lost)
				return fmt.Errorf("healed, but %s lacks %.8s: %s", s.name, h, facts[lab][h])
			}
			w.counts["facts that every server has"] += len(facts[lab])
		}
	}
	return nil
}

// skip gives the epochs that a server leaves out.
func (n *node) skip(limit uint32) uint32 {
	n.skips++
	return n.w.rng(fmt.Sprint(n.name, " skips ", n.skips)).Uint32N(limit)
}

// origins gives the chains in a fixed order, so that nothing of a world follows
// the order of a map.
func origins[V any](m map[record.Origin]V) []record.Origin {
	return slices.SortedFunc(maps.Keys(m), compare)
}

func compare(a, b record.Origin) int {
	return cmp.Or(bytes.Compare(a.Node[:], b.Node[:]), bytes.Compare(a.Lab[:], b.Lab[:]), cmp.Compare(a.Epoch, b.Epoch))
}

func first(all []record.Hash) record.Hash {
	return slices.MinFunc(all, func(a, b record.Hash) int { return bytes.Compare(a[:], b[:]) })
}

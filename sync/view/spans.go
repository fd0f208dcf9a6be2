package view

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// span is a time in which an item sat at a rig: From <= t < To. The case of a
// sensor with several axes has several positions in it, in the order of the alphabet.
type span struct {
	rig       uuid.UUID
	positions []string
	from, to  lab.Time
}

// position names where it sat, for people.
func (p *span) position() string { return strings.Join(p.positions, ", ") }

// spans gives where an item sat until end, in the order of time. No two overlap, so
// that a stroke counts once however many axes of the item measured it.
func (s *Set) spans(r kv.Reader, sc scope.Scope, item uuid.UUID, end lab.Time) ([]span, error) {
	all, err := s.sittings(r, sc, item, end)
	if err != nil {
		return nil, err
	}
	var edges []lab.Time
	for _, x := range all {
		edges = append(edges, x.from, x.to)
	}
	slices.Sort(edges)
	edges = slices.Compact(edges)
	out := make([]span, 0, len(all))
	for i := 0; i+1 < len(edges); i++ {
		from, to := edges[i], edges[i+1]
		first := len(out)
		for _, x := range all {
			if x.to <= from || x.from >= to {
				continue
			}
			at := slices.IndexFunc(out[first:], func(p span) bool { return p.rig == x.rig })
			if at < 0 {
				out, at = append(out, span{rig: x.rig, from: from, to: to}), len(out)-first
			}
			p := &out[first+at]
			p.positions = append(p.positions, x.positions...)
			slices.SortFunc(p.positions, func(a, b string) int { return cmp.Compare(lab.Fold(a), lab.Fold(b)) })
		}
	}
	return out, nil
}

// sittings gives, for each mounting of an item until end, how long it held. An item
// leaves a place when it is mounted elsewhere, unless by another of its axes, or when
// something else, or nothing, is put there.
func (s *Set) sittings(r kv.Reader, sc scope.Scope, item uuid.UUID, end lab.Time) ([]span, error) {
	var all []*doc[lab.Mounting]
	for d, err := range s.mountings.ScanIndex(r, byItem, item[:], kv.Join(item[:], when(end)), false) {
		if err != nil {
			return nil, err
		}
		if sc.Allows(d.Lab) {
			all = append(all, d)
		}
	}
	out := make([]span, 0, len(all))
	for i, d := range all {
		b := d.body()
		to := end
		if j := slices.IndexFunc(all[i+1:], func(o *doc[lab.Mounting]) bool { return o.body().Ends(b) }); j >= 0 {
			to = min(to, all[i+1+j].body().EffectiveAt)
		}
		next, err := s.nextAt(r, sc, d)
		if err != nil {
			return nil, err
		}
		if next != nil {
			to = min(to, next.body().EffectiveAt)
		}
		if to > b.EffectiveAt {
			out = append(out, span{rig: b.Rig, positions: []string{b.Position}, from: b.EffectiveAt, to: to})
		}
	}
	return out, nil
}

// left says that the item of a mounting was mounted elsewhere since, up to a time,
// and sits there no more.
func (s *Set) left(r kv.Reader, sc scope.Scope, d *doc[lab.Mounting], t lab.Time) (bool, error) {
	b, since := d.body(), false
	for o, err := range s.mountings.ScanIndex(r, byItem, kv.Join(b.Item[:], when(b.EffectiveAt)), kv.Join(b.Item[:], when(t+1)), false) {
		switch {
		case err != nil:
			return false, err
		case o.UID == d.UID && o.Lab == d.Lab:
			since = true
		case since && sc.Allows(o.Lab) && o.body().Ends(b):
			return true, nil
		}
	}
	return false, nil
}

// Sits lists the positions at which an item sits at a time: several for the case of
// a sensor with several axes, none where it is not mounted.
func (v *Reader) Sits(ctx context.Context, sc scope.Scope, item uuid.UUID, t lab.Time) (out []Sat, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		all, err := v.set.sittings(r, sc, item, t+1)
		for _, p := range all {
			if p.to == t+1 {
				out = append(out, Sat{Rig: p.rig, Position: p.position(), From: p.from, To: p.to})
			}
		}
		return err
	})
	slices.SortFunc(out, func(a, b Sat) int { return cmp.Compare(lab.Fold(a.Position), lab.Fold(b.Position)) })
	return out, err
}

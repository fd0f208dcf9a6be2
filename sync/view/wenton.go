package view

import (
	"context"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// WentOnRow says that an operator went on with a reason.
type WentOnRow struct {
	Head
	WentOn lab.WentOn
}

func wentOnTable() *index.Table[doc[lab.WentOn]] {
	return dated("view.wenton", func(w *lab.WentOn) (uuid.UUID, lab.Time) { return w.Rig, w.EffectiveAt })
}

// WentOnAt gives what an operator of a rig went on with that holds at a time,
// newest first, without what was mended since.
func (v *Reader) WentOnAt(ctx context.Context, sc scope.Scope, rig uuid.UUID, t lab.Time) (out []WentOnRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out, err = v.set.wentOnAt(r, sc, rig, t)
		return err
	})
	return out, err
}

// WentOnWithin gives what operators of a rig went on with from <= t < to, oldest
// first, whether it still holds or not.
func (v *Reader) WentOnWithin(ctx context.Context, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (out []WentOnRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		for d, err := range v.set.wentOn.ScanIndex(r, byItem, kv.Join(rig[:], when(from)), kv.Join(rig[:], when(to)), false) {
			if err != nil {
				return err
			}
			if sc.Allows(d.Lab) {
				out = append(out, WentOnRow{Head: d.head(), WentOn: *d.body()})
			}
		}
		return nil
	})
	return out, err
}

func (s *Set) wentOnAt(r kv.Reader, sc scope.Scope, rig uuid.UUID, t lab.Time) (out []WentOnRow, err error) {
	from := kv.Join(rig[:], when(t.Add(-lab.MostWentOn)))
	for d, err := range s.wentOn.ScanIndex(r, byItem, from, kv.Join(rig[:], when(t+1)), true) {
		if err != nil {
			return nil, err
		}
		if sc.Allows(d.Lab) && t < d.body().Until {
			w, left, err := s.unmended(r, sc, d, t)
			if err != nil {
				return nil, err
			}
			if left {
				out = append(out, WentOnRow{Head: d.head(), WentOn: w})
			}
		}
	}
	if len(out) == 0 {
		return nil, nil
	}
	changed, err := s.lastChange(r, sc, rig, t)
	if err != nil {
		return nil, err
	}
	kept := out[:0]
	for _, w := range out {
		if w.WentOn.EffectiveAt >= changed {
			kept = append(kept, w)
		}
	}
	return kept, nil
}

// lastChange is when something was mounted at a rig, or taken off it, last at a
// time; zero: never.
func (s *Set) lastChange(r kv.Reader, sc scope.Scope, rig uuid.UUID, t lab.Time) (last lab.Time, err error) {
	for d, err := range s.mountings.ScanIndex(r, byPlace, rig[:], kv.PrefixEnd(rig[:]), false) {
		if err != nil {
			return 0, err
		}
		if at := d.body().EffectiveAt; sc.Allows(d.Lab) && at <= t {
			last = max(last, at)
		}
	}
	return last, nil
}

// RigFlags are the flags that a shot gets from the state of its rig when it was
// fired, and from the plan in force. They are computed when asked for, so that entries made late count.
func (v *Reader) RigFlags(ctx context.Context, sc scope.Scope, shot uuid.UUID) (out []lab.Flag, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		d, err := find(r, v.set.shots, sc, shot)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindShot, shot)
		}
		all, err := v.set.wentOnAt(r, sc, d.body().Rig, d.body().EffectiveAt)
		for i := range all {
			w := &all[i].WentOn
			out = append(out, lab.Flag{Code: lab.FlagWentOn, Text: strings.Join(w.What, "; ") + ". Reason: " + w.Reason})
		}
		if err != nil {
			return err
		}
		above, err := v.set.aboveRated(r, sc, d.body())
		if above != "" {
			out = append(out, lab.Flag{Code: lab.FlagAboveRated, Text: above})
		}
		if err != nil {
			return err
		}
		bare, err := v.set.unmounted(r, sc, d)
		if bare != "" {
			out = append(out, lab.Flag{Code: lab.FlagNothingMounted, Text: bare})
		}
		if err != nil {
			return err
		}
		why, err := v.set.checkFailed(r, sc, d)
		if why != "" {
			out = append(out, lab.Flag{Code: lab.FlagCheckFailed, Text: why})
		}
		if err != nil {
			return err
		}
		plan, err := v.set.judged(r, sc, d)
		out = append(out, plan...)
		return err
	})
	return out, err
}

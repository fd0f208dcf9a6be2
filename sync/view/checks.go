package view

import (
	"bytes"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// checked gives the keys of a system check that stands, and none of other shots.
func checked(f func(*lab.Shot) [][]byte) func(*doc[lab.Shot]) [][]byte {
	return func(d *doc[lab.Shot]) [][]byte {
		if !d.stands() || d.body().Kind != lab.ShotSystemCheck {
			return nil
		}
		return f(d.body())
	}
}

func padKey(rig uuid.UUID, pad string) []byte { return kv.Join(rig[:], kv.Str(lab.Fold(pad))) }

func checkLimitsTable() *index.Table[doc[lab.CheckLimits]] {
	return dated("view.checklimits", func(k *lab.CheckLimits) (uuid.UUID, lab.Time) { return k.Rig, k.EffectiveAt })
}

// CheckLimitsRow is what checks are held against from a time on.
type CheckLimitsRow struct {
	Head
	CheckLimits lab.CheckLimits
}

// CheckLimits lists what was set for the checks of a rig, oldest first; pad ""
// is every pad.
func (v *Reader) CheckLimits(ctx context.Context, sc scope.Scope, rig uuid.UUID, pad string) (out []CheckLimitsRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out, err = v.set.limitsOf(r, sc, rig, pad)
		return err
	})
	return out, err
}

func (s *Set) limitsOf(r kv.Reader, sc scope.Scope, rig uuid.UUID, pad string) (out []CheckLimitsRow, err error) {
	for d, err := range s.checkLimits.ScanIndex(r, byItem, rig[:], kv.PrefixEnd(rig[:]), false) {
		if err != nil {
			return nil, err
		}
		if sc.Allows(d.Lab) && (pad == "" || lab.Fold(d.body().Pad) == lab.Fold(pad)) {
			out = append(out, CheckLimitsRow{Head: d.head(), CheckLimits: *d.body()})
		}
	}
	return out, nil
}

// Checks gives the system checks of a rig that stand, with what came of each,
// newest first. most bounds how many are given, not what they are held against.
func (v *Reader) Checks(ctx context.Context, sc scope.Scope, rig uuid.UUID, most int) (out []CheckRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		limits, err := v.set.limitsOf(r, sc, rig, "")
		if err != nil {
			return err
		}
		setups, err := v.set.setupsOf(r, sc, rig)
		if err != nil {
			return err
		}
		type seriesKey struct {
			pad   string
			setup CheckSetup
		}
		charts := map[seriesKey]*series{}
		for d, err := range v.set.shots.ScanIndex(r, byCheck, rig[:], kv.PrefixEnd(rig[:]), false) {
			if err != nil {
				return err
			}
			if !sc.Allows(d.Lab) {
				continue
			}
			setup, err := setups.of(d)
			if err != nil {
				return err
			}
			key := seriesKey{lab.Fold(d.body().ReferencePad), setup}
			if charts[key] == nil {
				charts[key] = newSeries(limits, key.pad, setup)
			}
			if out = append(out, charts[key].judge(d)); len(out) > 2*most {
				out = append(out[:0], out[len(out)-most:]...)
			}
		}
		return nil
	})
	slices.Reverse(out)
	return out[:min(len(out), most)], err
}

// Check gives one system check with what came of it; nil when the shot is none
// that stands.
func (v *Reader) Check(ctx context.Context, sc scope.Scope, shot uuid.UUID) (c *CheckRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		c = nil
		d, err := find(r, v.set.shots, sc, shot)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindShot, shot)
		}
		if !d.stands() || d.body().Kind != lab.ShotSystemCheck {
			return nil
		}
		c, err = v.set.check(r, sc, d)
		return err
	})
	return c, err
}

// check judges one check by those of its series before it: the same rig, pad and
// setup. What the chart rests on is complete after a few dozen, so the rest is
// not read.
func (s *Set) check(r kv.Reader, sc scope.Scope, d *doc[lab.Shot]) (*CheckRow, error) {
	b := d.body()
	limits, err := s.limitsOf(r, sc, b.Rig, b.ReferencePad)
	if err != nil {
		return nil, err
	}
	setups, err := s.setupsOf(r, sc, b.Rig)
	if err != nil {
		return nil, err
	}
	own, err := setups.of(d)
	if err != nil {
		return nil, err
	}
	chart := newSeries(limits, lab.Fold(b.ReferencePad), own)
	key := padKey(b.Rig, b.ReferencePad)
	from := when(chart.start(b.EffectiveAt))
	for e, err := range s.shots.ScanIndex(r, byPad, kv.Join(key, from), kv.Join(key, when(b.EffectiveAt+1)), false) {
		if err != nil {
			return nil, err
		}
		if e.UID == d.UID && e.Lab == d.Lab || chart.complete() {
			break
		}
		if in, err := setups.has(own, e); err != nil {
			return nil, err
		} else if in {
			chart.judge(e)
		}
	}
	if chart.complete() { // the difference to the check before is still wanted
		if err := s.lastBefore(r, setups, kv.Join(key, from), kv.Join(key, when(b.EffectiveAt+1)), d, chart); err != nil {
			return nil, err
		}
	}
	row := chart.judge(d)
	return &row, nil
}

// lastBefore has a chart know the check before d.
func (s *Set) lastBefore(r kv.Reader, setups *setups, from, to []byte, d *doc[lab.Shot], chart *series) error {
	for e, err := range s.shots.ScanIndex(r, byPad, from, to, true) {
		if err != nil {
			return err
		}
		if !earlier(e, d) {
			continue
		}
		if in, err := setups.has(chart.setup, e); err != nil {
			return err
		} else if in {
			chart.judge(e)
			return nil
		}
	}
	return nil
}

// earlier says that a check stands before another in the order of the index.
func earlier(a, b *doc[lab.Shot]) bool {
	if at, bt := a.body().EffectiveAt, b.body().EffectiveAt; at != bt {
		return at < bt
	}
	return bytes.Compare(keyOf(a), keyOf(b)) < 0
}

// checkFailed says in words why a hit is in doubt: of the decided checks of its
// rig, the last before it or the first after it failed. "" when neither did.
func (s *Set) checkFailed(r kv.Reader, sc scope.Scope, d *doc[lab.Shot]) (string, error) {
	b := d.body()
	if b.Kind != lab.ShotHit {
		return "", nil
	}
	at := kv.Join(b.Rig[:], when(b.EffectiveAt))
	for _, side := range []struct {
		word     string
		from, to []byte
		back     bool
	}{{"before", b.Rig[:], at, true}, {"after", at, kv.PrefixEnd(b.Rig[:]), false}} {
		for e, err := range s.shots.ScanIndex(r, byCheck, side.from, side.to, side.back) {
			if err != nil {
				return "", err
			}
			if !sc.Allows(e.Lab) {
				continue
			}
			c, err := s.check(r, sc, e)
			if err != nil {
				return "", err
			}
			if c.State == CheckFailed {
				return "the system check " + side.word + " it, of " + e.body().EffectiveAt.Time().Format("2006-01-02 15:04 UTC") + ", failed: " + c.Words(), nil
			}
			if c.State == CheckGood {
				break
			}
		}
	}
	return "", nil
}

package view

import (
	"context"
	"encoding/binary"
	"math"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Names of the tallies and the index of wear; all are by (rig, lab, UTC day),
// or by (lab, rig, day, hardest first).
const (
	perDayHits   = "hits"     // shots on a specimen that stand
	perDayEnergy = "energy"   // millijoules
	perDayKnown  = "known"    // strokes whose energy is known
	byHardness   = "hardness" // peak linear acceleration
)

// Wear is what an item went through while it was mounted, up to a time.
// Sightings that count as strokes have no result, and so no energy.
type Wear struct {
	Strokes      int64 // recorded while mounted: no opening count, no corrections
	Shots        int64 // of these, shots on a specimen that stand
	DaysMounted  float64
	EnergyJ      float64 // sum of the ram's energy over the strokes that have one
	EnergyOf     int64   // how many have one
	Hardest      *ShotRow
	HardestPeakG float64 // of Hardest; 0: no stroke has a peak
	FirstMounted lab.Time
}

// Wear adds up what an item went through. Like Usage it is computed from what
// is known when it is asked.
func (v *Reader) Wear(ctx context.Context, sc scope.Scope, item uuid.UUID, now time.Time) (w Wear, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.items, sc, item)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindItem, item)
		}
		w, err = v.set.wear(r, sc, item, lab.At(now)+1)
		return err
	})
	return w, err
}

func (s *Set) wear(r kv.Reader, sc scope.Scope, item uuid.UUID, end lab.Time) (Wear, error) {
	var w Wear
	spans, err := s.spans(r, sc, item, end)
	if err != nil {
		return w, err
	}
	labs, err := s.labsOf(r, sc)
	if err != nil {
		return w, err
	}
	var mj int64
	for i, p := range spans {
		if i == 0 {
			w.FirstMounted = p.from
		}
		w.DaysMounted += float64(min(p.to, end-1)-p.from) / lab.DayMS
		n, err := s.strokes(r, sc, p.rig, p.from, p.to)
		if err != nil {
			return w, err
		}
		w.Strokes += n
		for _, of := range labs {
			g := gauge{r: r, t: s.shots, of: of, rig: p.rig, w: &w}
			if err := g.sum(p.from, p.to, &mj); err != nil {
				return w, err
			}
			if err := g.hardest(p.from, p.to); err != nil {
				return w, err
			}
		}
	}
	w.EnergyJ = float64(mj) / 1000
	return w, nil
}

// gauge reads the wear of one rig in one lab.
type gauge struct {
	r   kv.Reader
	t   *index.Table[doc[lab.Shot]]
	of  record.LabID
	rig uuid.UUID
	w   *Wear
}

// sum adds shots and energy in from <= t < to: whole days from sums, the rest
// shot by shot.
func (g *gauge) sum(from, to lab.Time, mj *int64) error {
	first, last := from.Day(), to.Day() // whole days: first <= day < last
	if lab.DayStart(first) != from {
		first++
	}
	if first > last {
		return g.each(from, to, mj)
	}
	if err := g.each(from, lab.DayStart(first), mj); err != nil {
		return err
	}
	key := kv.Join(g.rig[:], g.of[:])
	a, b := kv.Join(key, kv.I64(first)), kv.Join(key, kv.I64(last))
	for tally, to := range map[string]*int64{perDayHits: &g.w.Shots, perDayEnergy: mj, perDayKnown: &g.w.EnergyOf} {
		n, err := g.t.SumRange(g.r, tally, a, b)
		if err != nil {
			return err
		}
		*to += n
	}
	return g.each(lab.DayStart(last), to, mj)
}

func (g *gauge) each(from, to lab.Time, mj *int64) error {
	if to <= from {
		return nil
	}
	key := kv.Join(g.of[:], g.rig[:])
	for d, err := range g.t.ScanIndex(g.r, byRig, kv.Join(key, when(from)), kv.Join(key, when(to)), false) {
		if err != nil {
			return err
		}
		if hits(d) {
			g.w.Shots++
		}
		if n, ok := millijoules(d); ok {
			g.w.EnergyOf++
			*mj += n
		}
	}
	return nil
}

// hardest looks for a peak above the one found so far: of each day with shots
// only the hardest within the times is read.
func (g *gauge) hardest(from, to lab.Time) error {
	key := kv.Join(g.of[:], g.rig[:])
	next, end := kv.Join(key, kv.I64(from.Day())), kv.Join(key, kv.I64(to.Day()+1))
	for next != nil {
		day, found := int64(0), false
		for d, err := range g.t.ScanIndex(g.r, byHardness, next, end, false) {
			if err != nil {
				return err
			}
			at := d.body().EffectiveAt
			if found && at.Day() != day {
				break
			}
			day, found = at.Day(), true
			if at < from || at >= to {
				continue
			}
			if p, ok := peakG(d); ok && g.harder(p, d) {
				g.w.HardestPeakG, g.w.Hardest = p, new(shotRow(d))
			}
			break
		}
		if !found {
			return nil
		}
		next = kv.Join(key, kv.I64(day+1))
	}
	return nil
}

// harder orders by peak; of equal peaks the first by time, then by id.
func (g *gauge) harder(p float64, d *doc[lab.Shot]) bool {
	h := g.w.Hardest
	if h == nil || p != g.w.HardestPeakG {
		return h == nil || p > g.w.HardestPeakG
	}
	if at := d.body().EffectiveAt; at != h.Shot.EffectiveAt {
		return at < h.Shot.EffectiveAt
	}
	return string(docKey(d.UID, d.Lab)) < string(docKey(h.ID, h.Lab))
}

// hits says that a stroke was a shot on a specimen, and stands.
func hits(d *doc[lab.Shot]) bool { return d.stands() && d.body().Kind == lab.ShotHit }

// mostJoules bounds what is taken for a ram's energy, so that sums stay exact.
const mostJoules = 1e8

// millijoules gives a stroke's energy, void ones too: they wear as well.
func millijoules(d *doc[lab.Shot]) (int64, bool) {
	if !d.shown() || !strikes(d.body()) || d.Figures == nil || d.Figures.Figures.RamEnergyJ == nil {
		return 0, false
	}
	e := *d.Figures.Figures.RamEnergyJ
	if !(e >= 0 && e <= mostJoules) {
		return 0, false
	}
	return int64(math.Round(e * 1000)), true
}

func peakG(d *doc[lab.Shot]) (float64, bool) {
	if !d.shown() || !strikes(d.body()) || d.Figures == nil || d.Figures.Figures.PeakG == nil {
		return 0, false
	}
	p := *d.Figures.Figures.PeakG
	return p, p > 0 && !math.IsInf(p, 0)
}

// hardness is the key of the hardest first, then the earliest.
func hardness(d *doc[lab.Shot]) [][]byte {
	p, ok := peakG(d)
	if !ok {
		return nil
	}
	b := d.body()
	down := binary.BigEndian.AppendUint64(nil, ^math.Float64bits(p)) // positive floats sort as their bits do
	return one(d.Lab[:], b.Rig[:], day(b.EffectiveAt), down, when(b.EffectiveAt))
}

func wearIndex() index.Index[doc[lab.Shot]] {
	return index.Index[doc[lab.Shot]]{Name: byHardness, Keys: hardness}
}

func wearTallies() []index.Tally[doc[lab.Shot]] {
	type row = doc[lab.Shot]
	perDayOf := func(d *row, n int64) []index.Count {
		if n == 0 {
			return nil
		}
		b := d.body()
		return []index.Count{{Key: kv.Join(b.Rig[:], d.Lab[:], day(b.EffectiveAt)), N: n}}
	}
	return []index.Tally[row]{
		{Name: perDayHits, Of: func(d *row) []index.Count {
			if !hits(d) {
				return nil
			}
			return perDayOf(d, 1)
		}},
		{Name: perDayEnergy, Of: func(d *row) []index.Count {
			n, _ := millijoules(d)
			return perDayOf(d, n)
		}},
		{Name: perDayKnown, Of: func(d *row) []index.Count {
			if _, ok := millijoules(d); !ok {
				return nil
			}
			return perDayOf(d, 1)
		}},
	}
}

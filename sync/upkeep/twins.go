package upkeep

import (
	"context"
	"math"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/view"
)

// Disagreement is two sensors that measure the same at the same place and have
// differed by more than their limit over the last strokes.
type Disagreement struct {
	lab.Twins         // of the last stroke
	Apart     float64 // median over the strokes, as a share; positive where Twin reads more
	Strokes   int
	At        lab.Time // of the last stroke
	Shot      uuid.UUID
}

// TwinStrokes is over how many strokes twins are held against each other: the
// median of five is not moved by two bad ones. Common practice, no published
// source.
const TwinStrokes = 5

// Bounds of the look back at one rig.
const (
	mostTwinLook   = 60 // strokes; among them are dry ones, which compare light gates alone
	enoughTwinLook = 10 // strokes with results of which none compares anything: the rig has no twins
)

// compared is one comparison of twins at a rig.
type compared struct {
	lab.Twins
	at   lab.Time
	shot uuid.UUID
}

// Twins gives what disagrees with the sensor at a position of a rig.
func (w *Watch) Twins(ctx context.Context, rig uuid.UUID, position string) (out []Disagreement, err error) {
	all, ok := w.twins[rig]
	if !ok {
		if all, err = w.compared(ctx, rig); err != nil {
			return nil, err
		}
		if w.twins == nil {
			w.twins = map[uuid.UUID][]compared{}
		}
		w.twins[rig] = all
	}
	type pair struct{ channel, twin string }
	var pairs []pair
	of := map[pair][]compared{}
	for _, x := range all { // newest first
		p := pair{lab.Fold(x.Channel), lab.Fold(x.Twin)}
		if at := lab.Fold(position); p.channel != at && p.twin != at {
			continue
		}
		if of[p] == nil {
			pairs = append(pairs, p)
		}
		of[p] = append(of[p], x)
	}
	for _, p := range pairs {
		since, err := w.sitSince(ctx, rig, p.channel, p.twin)
		if err != nil {
			return nil, err
		}
		if d, ok := disagree(of[p], since); ok {
			out = append(out, d)
		}
	}
	return out, nil
}

// disagree judges the last strokes since a time; comparisons come newest first.
func disagree(all []compared, since lab.Time) (Disagreement, bool) {
	var apart, limits []float64
	for i := range all {
		if all[i].at < since || len(apart) == TwinStrokes {
			break
		}
		apart, limits = append(apart, all[i].Apart()), append(limits, all[i].Limit)
	}
	if len(apart) < TwinStrokes {
		return Disagreement{}, false
	}
	slices.Sort(apart)
	slices.Sort(limits)
	d := Disagreement{Twins: all[0].Twins, Apart: apart[TwinStrokes/2], Strokes: TwinStrokes, At: all[0].at, Shot: all[0].shot}
	d.Limit = limits[TwinStrokes/2]
	return d, math.Abs(d.Apart) > d.Limit
}

// compared lists the comparisons of the last strokes at a rig, newest first.
func (w *Watch) compared(ctx context.Context, rig uuid.UUID) (out []compared, err error) {
	page := view.Page{Limit: enoughTwinLook}
	for seen, scored := 0, 0; seen < mostTwinLook; {
		list, err := w.Read.Shots(ctx, w.Scope, view.ShotFilter{Rig: rig, To: lab.At(w.Now) + 1}, page)
		if err != nil {
			return nil, err
		}
		for i := range list.Rows {
			s := &list.Rows[i]
			if seen++; s.Figures == nil || s.Void() {
				continue
			}
			scores, err := w.Read.Scores(ctx, w.Scope, s.ID)
			if err != nil {
				return nil, err
			}
			if len(scores) == 0 {
				continue
			}
			scored++
			for _, t := range scores[0].Score.Twins { // of the one that holds
				out = append(out, compared{t, s.Shot.EffectiveAt, s.ID})
			}
		}
		if page.After = list.Next; list.Next == "" || len(out) == 0 && scored >= enoughTwinLook {
			break
		}
	}
	return out, nil
}

// sitSince is since when what sits at the positions of a rig now sits there.
func (w *Watch) sitSince(ctx context.Context, rig uuid.UUID, positions ...string) (since lab.Time, err error) {
	rows, err := w.Read.Mounted(ctx, w.Scope, rig, lab.At(w.Now))
	for i := range rows {
		if m := &rows[i].Mounting.Mounting; slices.Contains(positions, lab.Fold(m.Position)) {
			since = max(since, m.EffectiveAt)
		}
	}
	return since, err
}

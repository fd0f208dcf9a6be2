package impact

import (
	"cmp"
	"slices"
)

// CumulativeClip is the largest level L such that the total time in which the
// trace, taken as straight lines between its samples, is at or above L is
// durationS: the cumulative 3 ms clip (SAE J1727; not confirmed against print).
// It is never below FindClip, and equal to it for a pulse of one lobe. 0 when the
// record is shorter than durationS or holds no such level above 0. Values must not
// be negative.
//
// The total time grows, as L falls, by straight lines between the levels of the
// samples, and by a jump where the trace stands still; following it down from the
// peak gives L exactly. Only cells above a level that is surely held are looked at.
func CumulativeClip(t Trace, durationS float64) float64 {
	n := len(t.Values)
	if n < 2 || !(durationS > 0) || t.At(n-1)-t.At(0) < durationS-1e-12 {
		return 0
	}
	floor, _ := Peak(t.Values)
	for range 10 {
		floor /= 2
		if timeAbove(t, floor) >= durationS {
			return descend(cellsAbove(t, floor), durationS)
		}
	}
	return descend(cellsAbove(t, 0), durationS)
}

// timeAbove is the time in cells that lie wholly at or above a level.
func timeAbove(t Trace, level float64) float64 {
	total := 0.0
	for i, v := range t.Values[:len(t.Values)-1] {
		if v >= level && t.Values[i+1] >= level {
			total += t.step(i)
		}
	}
	return total
}

// bend is a level at which the total time changes its slope or jumps, on the way
// down.
type bend struct {
	level float64
	slope float64 // seconds a unit of level more from here on down
	jump  float64 // seconds at once
}

// cellsAbove gives the bends of all cells that reach a level.
func cellsAbove(t Trace, floor float64) []bend {
	count := 0
	for i, v := range t.Values[:len(t.Values)-1] {
		if max(v, t.Values[i+1]) >= floor {
			count++
		}
	}
	bends := make([]bend, 0, 2*count)
	for i, v := range t.Values[:len(t.Values)-1] {
		hi, lo := max(v, t.Values[i+1]), min(v, t.Values[i+1])
		switch {
		case hi < floor:
		case hi == lo:
			bends = append(bends, bend{level: hi, jump: t.step(i)})
		default:
			slope := t.step(i) / (hi - lo)
			bends = append(bends, bend{level: hi, slope: slope}, bend{level: lo, slope: -slope})
		}
	}
	slices.SortFunc(bends, func(a, b bend) int { return cmp.Compare(b.level, a.level) })
	return bends
}

// descend follows the total time down from the highest level until it is long
// enough. 1 ns is forgiven, as rounding of times leaves it.
func descend(bends []bend, durationS float64) float64 {
	const forgiven = 1e-9
	total, slope := 0.0, 0.0
	for i, b := range bends {
		if i > 0 {
			drop := bends[i-1].level - b.level
			if slope > 0 && total+slope*drop >= durationS {
				return bends[i-1].level - (durationS-total)/slope
			}
			total += max(slope, 0) * drop
		}
		total += b.jump
		slope += b.slope
		if total >= durationS-forgiven {
			return b.level
		}
	}
	return 0
}

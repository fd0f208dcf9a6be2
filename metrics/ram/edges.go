package ram

import (
	"math"

	"thudbook/metrics/signal"
)

// step is one finite sample of a gate: 0 clear, 1 blocked.
type step struct {
	atS   float64
	level float64
	noise float64 // standard deviation of level, the same for all
}

// normalise finds the two levels of a gate and scales the channel to them. The
// gate is clear for most of a record, so the median is the clear level; the
// blocked level is the median of what lies on the far side of halfway to the
// third largest deviation, so that one spike of two samples cannot set it.
func normalise(rec *signal.Recording, gate *signal.Channel) ([]step, error) {
	steps := make([]step, 0, len(gate.Values))
	levels := make([]float64, 0, len(gate.Values))
	for i, v := range gate.Values[:min(len(gate.Values), rec.Len())] {
		if t := rec.At(i); !math.IsNaN(v) && !math.IsInf(v, 0) && !math.IsNaN(t) && !math.IsInf(t, 0) {
			steps = append(steps, step{atS: t, level: v})
			levels = append(levels, v)
		}
	}
	n := len(levels)
	if n < 2*(spikeSamples+1) {
		return nil, gateFault(gate, NoEdge, "the light gate has too few readable samples",
			"check the gate's cable and channel map, or type the speed")
	}
	clear := nth(levels, n/2)
	down, up := clear-nth(levels, spikeSamples), nth(levels, n-1-spikeSamples)-clear
	far := up
	if down > up {
		far = -down
	}
	var beyond []float64
	deviation := make([]float64, n)
	for i, v := range levels {
		d := v - clear
		deviation[i] = math.Abs(d)
		if d*far > 0 && deviation[i] > math.Abs(far)/2 {
			beyond = append(beyond, v)
		}
	}
	noise := 1.4826 * nth(deviation, n/2) // median absolute deviation of a normal distribution
	if len(beyond) == 0 || math.Abs(far) <= 8*noise {
		return nil, gateFault(gate, NoEdge, "the light gate's level never changed by more than its noise",
			"check that the gate is switched on and that the flag passes it, or type the speed")
	}
	span := nth(beyond, len(beyond)/2) - clear
	for i := range steps {
		steps[i].level = (steps[i].level - clear) / span
		steps[i].noise = noise / math.Abs(span)
	}
	return steps, nil
}

// run is a stretch of blocked samples by index. from is -1 when the record
// begins blocked, to is -1 when it ends so. quietBefore and quietAfter are the
// nearest samples that are surely clear.
type run struct {
	quietBefore, from int
	to, quietAfter    int
}

func (r run) first(s []step) float64 { return s[max(r.from, 0)].atS }

// passages finds the stretches in which the gate is blocked, with hysteresis,
// leaves out disturbances of at most spikeSamples, and counts those.
func passages(s []step) (found []run, spikes int) {
	var all []run
	blocked, quiet := s[0].level > halfLevel, 0
	cur := run{quietBefore: -1, from: -1}
	lastActive := 0
	for i, p := range s {
		switch {
		case p.level >= activeLevel:
			if !blocked {
				blocked, cur = true, run{quietBefore: quiet, from: i}
			}
			lastActive = i
		case p.level <= quietLevel:
			if blocked {
				blocked = false
				cur.to, cur.quietAfter = lastActive, i
				all = append(all, cur)
			}
			quiet = i
		}
	}
	if blocked {
		cur.to, cur.quietAfter = -1, -1
		all = append(all, cur)
	}
	for _, r := range all {
		if k := len(found) - 1; k >= 0 && r.from-found[k].to-1 <= spikeSamples && found[k].to >= 0 {
			found[k].to, found[k].quietAfter = r.to, r.quietAfter // a dip inside one flag
			spikes++
			continue
		}
		found = append(found, r)
	}
	kept := found[:0]
	for _, r := range found {
		if r.from >= 0 && r.to >= 0 && r.to-r.from+1 <= spikeSamples {
			spikes++
			continue
		}
		kept = append(kept, r)
	}
	return kept, spikes
}

// edge is the time of a half-level crossing and its standard uncertainty.
type edge struct{ atS, uS float64 }

// edgeTime interpolates the crossing of the half level between samples i and
// j, one of them clear and the other blocked. Noise can cross more than once:
// then the middle between the first and the last crossing is taken.
func edgeTime(s []step, i, j int) edge {
	var at []float64
	var e edge
	for k := i; k < j; k++ {
		a, b := s[k], s[k+1]
		if (a.level < halfLevel) == (b.level < halfLevel) {
			continue
		}
		q, rise := b.atS-a.atS, b.level-a.level
		at = append(at, a.atS+q*(halfLevel-a.level)/rise)
		u := q / math.Sqrt(12) // anywhere between two samples
		if onEdge(a) && onEdge(b) {
			// Both samples lie on the slope, so it is known here: what remains
			// is noise, and a twentieth of a step for the slope's curvature.
			u = math.Hypot(a.noise*q/math.Abs(rise), q/20/math.Sqrt(3))
		}
		e.uS = max(e.uS, u)
	}
	e.atS = (at[0] + at[len(at)-1]) / 2
	e.uS = math.Hypot(e.uS, (at[len(at)-1]-at[0])/math.Sqrt(12))
	return e
}

// onEdge says that a sample is clearly neither clear nor blocked.
func onEdge(p step) bool {
	margin := 0.05 + 3*p.noise
	return p.level > margin && p.level < 1-margin
}

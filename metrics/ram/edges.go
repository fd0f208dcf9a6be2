package ram

import (
	"math"

	"thudbook/metrics/scratch"
	"thudbook/metrics/signal"
)

// step is one finite sample of a gate: 0 clear, 1 blocked.
type step struct {
	atS   float64
	level float64
	noise float64 // standard deviation of level, the same for all
}

// beam is a gate's channel, scaled to its two levels.
type beam struct {
	rec    *signal.Recording
	values []float64 // all of the channel
	index  []int     // the samples that are finite; nil: all
	clear  float64   // value of level 0
	span   float64   // to that of level 1
	noise  float64
}

func (b *beam) len() int {
	if b.index != nil {
		return len(b.index)
	}
	return len(b.values)
}

// step gives the i-th finite sample.
func (b *beam) step(i int) step {
	if b.index != nil {
		i = b.index[i]
	}
	return step{atS: b.rec.At(i), level: (b.values[i] - b.clear) / b.span, noise: b.noise}
}

// finite makes a list of the samples that are numbers, unless all are.
func (b *beam) finite() {
	odd := math.IsNaN(b.rec.StartS) || math.IsInf(b.rec.StartS, 0) || !(b.rec.RateHz > 0)
	if b.rec.TimeS != nil {
		odd = false
		for _, t := range b.rec.TimeS[:len(b.values)] {
			odd = odd || t-t != 0
		}
	}
	for _, v := range b.values {
		odd = odd || v-v != 0
	}
	if !odd {
		return
	}
	b.index = []int{}
	for i, v := range b.values {
		if t := b.rec.At(i); v-v == 0 && t-t == 0 {
			b.index = append(b.index, i)
		}
	}
}

// normalise finds the two levels of a gate and scales the channel to them. The
// gate is clear for most of a record, so the median is the clear level; the
// blocked level is the median of what lies on the far side of halfway to the
// third largest deviation, so that one spike of two samples cannot set it.
func normalise(rec *signal.Recording, gate *signal.Channel) (*beam, error) {
	b := &beam{rec: rec, values: gate.Values[:min(len(gate.Values), rec.Len())], span: 1}
	b.finite()
	n := b.len()
	if n < 2*(spikeSamples+1) {
		return nil, gateFault(gate, NoEdge, "the light gate has too few readable samples",
			"check the gate's cable and channel map, or type the speed")
	}
	levels := b.values
	work := scratch.Floats(2 * n)
	defer scratch.Free(work)
	if b.index != nil {
		levels = scratch.Floats(n)
		defer scratch.Free(levels)
		for k, i := range b.index {
			levels[k] = b.values[i]
		}
	}
	low, high := ends(levels)
	b.clear = kth(levels, n/2, low[0], high[0], work)
	down, up := b.clear-low[spikeSamples], high[spikeSamples]-b.clear
	far := up
	if down > up {
		far = -down
	}
	deviation, rest := work[:n], work[n:]
	beyond := rest[:0]
	half := math.Abs(far) / 2
	for i, v := range levels {
		d := v - b.clear
		deviation[i] = math.Abs(d)
		if d*far > 0 && deviation[i] > half {
			beyond = append(beyond, v)
		}
	}
	blocked := math.NaN()
	if len(beyond) > 0 {
		blocked = nth(beyond, len(beyond)/2)
	}
	// 1.4826 times the median absolute deviation is the standard deviation of a normal distribution
	noise := 1.4826 * kth(deviation, n/2, 0, max(b.clear-low[0], high[0]-b.clear), rest)
	if len(beyond) == 0 || math.Abs(far) <= 8*noise {
		return nil, gateFault(gate, NoEdge, "the light gate's level never changed by more than its noise",
			"check that the gate is switched on and that the flag passes it, or type the speed")
	}
	b.span = blocked - b.clear
	b.noise = noise / math.Abs(b.span)
	return b, nil
}

// run is a stretch of blocked samples by index. from is -1 when the record
// begins blocked, to is -1 when it ends so. quietBefore and quietAfter are the
// nearest samples that are surely clear.
type run struct {
	quietBefore, from int
	to, quietAfter    int
}

func (r run) first(b *beam) float64 { return b.step(max(r.from, 0)).atS }

// passages finds the stretches in which the gate is blocked, with hysteresis,
// leaves out disturbances of at most spikeSamples, and counts those.
func passages(b *beam) (found []run, spikes int) {
	var all []run
	blocked, quiet := b.step(0).level > halfLevel, 0
	cur := run{quietBefore: -1, from: -1}
	lastActive := 0
	for i := range b.len() {
		switch level := b.step(i).level; {
		case level >= activeLevel:
			if !blocked {
				blocked, cur = true, run{quietBefore: quiet, from: i}
			}
			lastActive = i
		case level <= quietLevel:
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
func edgeTime(g *beam, i, j int) edge {
	var at []float64
	var e edge
	for k := i; k < j; k++ {
		a, b := g.step(k), g.step(k+1)
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

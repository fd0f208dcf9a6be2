package impact

import "math"

// Clip is the highest level that a trace holds for a given unbroken time.
type Clip struct {
	Value        float64 // unit of the trace; 0 when the record is shorter than the time asked for
	FromS, ToS   float64
	First, After int // cells that hold FromS and ToS: from this sample to the next
}

// Clip3MSDurationS is the time of the 3 ms clip.
const Clip3MSDurationS = 0.003

// FindClip is the largest level L such that the trace, taken as straight lines
// between its samples, is at or above L throughout one interval of durationS
// seconds: the contiguous 3 ms clip (SAE J1727; not confirmed against print). The
// result is exact for such a trace; the ends of the interval may lie between
// samples. Values must not be negative.
func FindClip(t Trace, durationS float64) Clip {
	n := len(t.Values)
	if n < 2 || !(durationS > 0) || t.At(n-1)-t.At(0) < durationS-1e-12 {
		return Clip{}
	}
	floor := clipFloor(t, durationS)
	best := Clip{Value: -1}
	for i := 0; i < n; {
		if t.Values[i] < floor {
			i++
			continue
		}
		j := i + 1
		for j < n && t.Values[j] >= floor {
			j++
		}
		// the interval may reach into the cell before and the cell after the run
		from, to := max(i-1, 0), min(j, n-1)
		if t.At(to)-t.At(from) >= durationS-1e-12 {
			slideClip(t, durationS, from, to, &best)
		}
		i = j
	}
	if best.Value < 0 { // only when rounding leaves no room in a record of just this length
		best.Value = 0
	}
	return best
}

// clipFloor is a level that is surely held: the least sample of the window that
// grows from the peak by the larger neighbour until it is long enough.
func clipFloor(t Trace, durationS float64) float64 {
	v, n := t.Values, len(t.Values)
	level, at := Peak(v)
	i, j := at, at
	for t.At(j)-t.At(i) < durationS {
		switch {
		case i == 0 && j == n-1:
			return level
		case j == n-1 || i > 0 && v[i-1] >= v[j+1]:
			i--
			level = min(level, v[i])
		default:
			j++
			level = min(level, v[j])
		}
	}
	return level
}

// slideClip moves the interval over samples from..to. Its start and its end lie in
// one cell each for as long as neither passes a sample; there the start value and
// the end value are straight lines in time and the least inner sample is constant.
func slideClip(t Trace, durationS float64, from, to int, best *Clip) {
	const tiny = 1e-12 // seconds; times closer than this are one
	v := t.Values
	queue := make([]int, 0, to-from+1) // inner samples of the interval with rising values: a sliding minimum
	head, i, j := 0, from, from
	push := func(k int) {
		for len(queue) > head && v[queue[len(queue)-1]] >= v[k] {
			queue = queue[:len(queue)-1]
		}
		queue = append(queue, k)
	}
	start := t.At(from)
	for j < to-1 && t.At(j+1) <= start+durationS+tiny {
		j++
		push(j)
	}
	for j < to {
		inner := math.Inf(1)
		if head < len(queue) {
			inner = v[queue[head]]
		}
		endOfI, endOfJ := t.At(i+1), t.At(j+1)-durationS
		next := max(start, min(endOfI, endOfJ))
		best.cell(t, start, next, durationS, i, j, inner)
		if endOfJ <= next+tiny {
			j++
			push(j)
		}
		if endOfI <= next+tiny {
			i++
		}
		for head < len(queue) && queue[head] <= i {
			head++
		}
		start = next
	}
}

// cell tries the starts from a to b of an interval whose ends stay in cells i and j.
func (c *Clip) cell(t Trace, a, b, durationS float64, i, j int, inner float64) {
	va, vb := t.at(i, a), t.at(i, b)
	wa, wb := t.at(j, a+durationS), t.at(j, b+durationS)
	c.offer(min(va, wa, inner), a, durationS, i, j)
	c.offer(min(vb, wb, inner), b, durationS, i, j)
	if d := (va - wa) - (vb - wb); (va-wa)*(vb-wb) < 0 {
		f := (va - wa) / d
		c.offer(min(va+f*(vb-va), inner), a+f*(b-a), durationS, i, j)
	}
}

func (c *Clip) offer(level, start, durationS float64, i, j int) {
	if level > c.Value {
		*c = Clip{Value: level, FromS: start, ToS: start + durationS, First: i, After: j}
	}
}

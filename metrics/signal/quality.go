package signal

import "math"

// SaturationFraction of full scale from which a sample counts as saturated.
// Common practice, no published source.
const SaturationFraction = 0.995

// Quality is what the samples of one channel say about themselves.
type Quality struct {
	NotFinite      int // samples that could not be read
	FirstNotFinite int // index of the first of them
	Constant       bool
	Saturated      int // samples at full scale, or in a flat top
	FirstSaturated int
	FlatTop        bool // saturation was found by shape, below full scale or without one
	StuckRun       int  // samples of the longest run of one repeated value inside a moving signal
	StuckStart     int
	Dropouts       int // how often the signal fell to one value, stood there, and came back
	DropoutStart   int // of the first time
	DropoutSamples int // of the first time
	Mean, Min, Max float64
}

// Limits of Inspect; common practice, no published source.
const (
	flatTopRun    = 4    // equal samples at the extreme
	stuckRun      = 10   // equal samples in a row
	stuckQuiet    = 0.05 // share of equal neighbours above which repeats are normal (coarse steps)
	entrySteps    = 10   // resolution steps by which a flat top is entered and left
	leastExtremum = 20   // resolution steps that an extreme must exceed
	restingPart   = 0.05 // of the range, by which a flat top differs from the level at rest
	holeRun       = 3    // equal samples, of a plug that is loose for an instant
	holeSides     = 8    // steps looked at on each side of them
	holeJump      = 6    // mean steps there by which the signal falls and comes back
	mostHoles     = 100
)

// Inspect looks at the raw samples of a channel, before baseline and filter.
//
// What it cannot tell: a single axis with the wrong sign. Its samples are as good as
// those of the right sign, whatever the others do; it takes a second sensor of the
// same axis (Correlation) or sensors enough to check one motion of one rigid body
// (package headform, nine accelerometers).
func Inspect(c *Channel) Quality {
	v := c.Values
	q := Quality{FirstNotFinite: -1, FirstSaturated: -1, StuckStart: -1, DropoutStart: -1}
	if len(v) == 0 {
		return q
	}
	r := scan(v)
	if r.sum-r.sum != 0 && q.notFinite(v) {
		return q
	}
	q.Min, q.Max = r.low, r.high
	q.Mean = r.sum / float64(len(v))
	q.Constant = q.Min == q.Max
	if q.Constant {
		return q
	}
	q.saturation(c, r)
	if r.longest >= stuckRun && float64(r.equal-r.longest+1) < stuckQuiet*float64(len(v)) &&
		r.start > 0 && v[r.start] != q.Max && v[r.start] != q.Min {
		q.StuckRun, q.StuckStart = r.longest, r.start
	}
	for _, h := range r.holes {
		if h.jump < entrySteps*r.resolution {
			continue
		}
		if q.Dropouts == 0 {
			q.DropoutStart, q.DropoutSamples = h.start, h.length
		}
		q.Dropouts++
	}
	return q
}

// notFinite counts samples that could not be read and looks at the rest. It tells
// whether there are any.
func (q *Quality) notFinite(v []float64) bool {
	low, high, sum := math.Inf(1), math.Inf(-1), 0.0
	for i, x := range v {
		if x-x != 0 { // NaN or infinite
			if q.NotFinite == 0 {
				q.FirstNotFinite = i
			}
			q.NotFinite++
			continue
		}
		sum += x
		low, high = min(low, x), max(high, x)
	}
	if n := len(v) - q.NotFinite; n > 0 {
		q.Min, q.Max, q.Mean = low, high, sum/float64(n)
		q.Constant = low == high
	}
	return q.NotFinite > 0
}

// runs is what one pass over the samples finds.
type runs struct {
	low, high, sum float64
	equal          int // neighbours that are equal
	longest, start int
	resolution     float64 // smallest step between neighbours that is not zero
	holes          []hole
}

// hole is a run of one value into which the signal falls, towards zero, and out of
// which it comes, both by a jump that it does not make elsewhere.
type hole struct {
	start, length int
	jump          float64 // the smaller of the two
}

func scan(v []float64) runs {
	r := runs{low: v[0], high: v[0], resolution: math.Inf(1), longest: 1}
	sum, low, high, resolution := v[0], v[0], v[0], math.Inf(1)
	run, before := 1, v[0]
	for i, x := range v[1:] {
		sum += x
		if x < low { // branches are taken seldom; the built-in min also looks for NaN
			low = x
		}
		if x > high {
			high = x
		}
		d := math.Abs(x - before)
		before = x
		if d == 0 {
			run++
			continue
		}
		if d < resolution {
			resolution = d
		}
		if run > 1 {
			r.end(v, i+1-run, run)
			run = 1
		}
	}
	r.end(v, len(v)-run, run)
	r.sum, r.low, r.high, r.resolution = sum, low, high, resolution
	return r
}

// end closes a run of equal samples.
func (r *runs) end(v []float64, start, length int) {
	r.equal += length - 1
	if length > r.longest {
		r.longest, r.start = length, start
	}
	after := start + length
	if length < holeRun || start == 0 || after == len(v) || len(r.holes) == mostHoles {
		return
	}
	x, in, out := v[start], v[start-1], v[after]
	if math.Abs(in) <= math.Abs(x) || math.Abs(out) <= math.Abs(x) {
		return
	}
	step, n := 0.0, 0
	for i := max(start-holeSides, 1); i < start; i++ {
		step += math.Abs(v[i] - v[i-1])
		n++
	}
	for i := after + 1; i < min(after+holeSides, len(v)); i++ {
		step += math.Abs(v[i] - v[i-1])
		n++
	}
	if jump := min(math.Abs(in-x), math.Abs(out-x)); n > 0 && step > 0 && jump > holeJump*step/float64(n) {
		r.holes = append(r.holes, hole{start, length, jump})
	}
}

// saturation counts samples at full scale. Where there are none it looks for a
// flat top, since an amplifier may clip below the sensor's full scale: several
// equal samples at an extreme, entered and left by a step that a smooth peak does
// not have.
func (q *Quality) saturation(c *Channel, r runs) {
	v := c.Values
	if limit := SaturationFraction * c.FullScale; limit > 0 && (q.Max >= limit || q.Min <= -limit) {
		for i, x := range v {
			if math.Abs(x) >= limit {
				if q.Saturated == 0 {
					q.FirstSaturated = i
				}
				q.Saturated++
			}
		}
		return
	}
	if c.Measures != LinearAcceleration && c.Measures != AngularVelocity {
		return // a gate or a pressure rests at its extremes
	}
	for _, extreme := range [2]float64{q.Max, q.Min} {
		if math.Abs(extreme-q.Mean) < leastExtremum*r.resolution || math.Abs(extreme-v[0]) < restingPart*(q.Max-q.Min) {
			continue // a channel without noise stands still at rest
		}
		for i := 1; i < len(v); i++ {
			if v[i] != extreme || v[i-1] == extreme {
				continue
			}
			end := i
			for end < len(v) && v[end] == extreme {
				end++
			}
			sharp := math.Abs(v[i]-v[i-1]) >= entrySteps*r.resolution &&
				(end == len(v) || math.Abs(v[end-1]-v[end]) >= entrySteps*r.resolution)
			if end-i >= flatTopRun && sharp {
				if q.Saturated == 0 || i < q.FirstSaturated {
					q.FirstSaturated = i
				}
				q.Saturated += end - i
				q.FlatTop = true
			}
			i = end
		}
	}
}

// Correlation is Pearson's coefficient of two channels of equal length; 0 when one
// of them is constant.
func Correlation(a, b []float64) float64 {
	ma, mb := Mean(a), Mean(b)
	var ab, aa, bb float64
	for i := range a {
		da, db := a[i]-ma, b[i]-mb
		ab += da * db
		aa += da * da
		bb += db * db
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}

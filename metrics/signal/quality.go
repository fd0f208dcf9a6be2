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
	FlatTop        bool // saturation was found by shape, without full scale
	StuckRun       int  // samples of the longest run of one repeated value inside a moving signal
	StuckStart     int
	Mean, Min, Max float64
}

// Limits of Inspect; common practice, no published source.
const (
	flatTopRun    = 4    // equal samples at the extreme
	stuckRun      = 10   // equal samples in a row
	stuckQuiet    = 0.05 // share of equal neighbours above which repeats are normal (coarse steps)
	entrySteps    = 10   // resolution steps by which a flat top is entered and left
	leastExtremum = 20   // resolution steps that an extreme must exceed
)

// Inspect looks at the raw samples of a channel, before baseline and filter.
func Inspect(c *Channel) Quality {
	v := c.Values
	q := Quality{FirstNotFinite: -1, FirstSaturated: -1, StuckStart: -1}
	if len(v) == 0 {
		return q
	}
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
		if x < low { // branches are taken seldom; the built-in min also looks for NaN
			low = x
		}
		if x > high {
			high = x
		}
	}
	q.Min, q.Max = low, high
	if q.NotFinite == len(v) {
		q.Min, q.Max = 0, 0
		return q
	}
	q.Mean = sum / float64(len(v)-q.NotFinite)
	q.Constant = q.Min == q.Max
	if q.Constant || q.NotFinite > 0 {
		return q
	}
	r := repeats(v)
	q.saturation(c, r)
	if r.longest >= stuckRun && float64(r.equal-r.longest+1) < stuckQuiet*float64(len(v)) &&
		r.start > 0 && v[r.start] != q.Max && v[r.start] != q.Min {
		q.StuckRun, q.StuckStart = r.longest, r.start
	}
	return q
}

// runs describes repeated samples.
type runs struct {
	equal          int // neighbours that are equal
	longest, start int
	resolution     float64 // smallest step between neighbours that is not zero
}

func repeats(v []float64) runs {
	r := runs{resolution: math.Inf(1), longest: 1}
	run := 1
	for i := 1; i < len(v); i++ {
		d := v[i] - v[i-1]
		if d != 0 {
			if d = math.Abs(d); d < r.resolution {
				r.resolution = d
			}
			run = 1
			continue
		}
		r.equal++
		run++
		if run > r.longest {
			r.longest, r.start = run, i-run+1
		}
	}
	return r
}

// saturation counts samples at full scale; without a full scale it looks for a
// flat top: several equal samples at an extreme, entered and left by a step that
// a smooth peak does not have.
func (q *Quality) saturation(c *Channel, r runs) {
	v := c.Values
	if c.FullScale > 0 {
		limit := SaturationFraction * c.FullScale
		if q.Max < limit && q.Min > -limit {
			return
		}
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
		if math.Abs(extreme-q.Mean) < leastExtremum*r.resolution {
			continue
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

package impact

import "math"

// Windows of the head injury criterion in seconds (49 CFR 571.208).
const (
	HIC15WindowS = 0.015
	HIC36WindowS = 0.036
)

// HIC is a head injury criterion with the window that gives it.
type HIC struct {
	Value       float64 // seconds (acceleration in g), as usually printed without a unit
	First, Last int     // the samples that bound the window
}

// Cumulative is the running integral of a resultant, for FindHIC and for means.
type Cumulative struct {
	rateHz float64   // 0 for an uneven record
	timeS  []float64 // nil for an even one
	sum    []float64 // g·s; for an even record g times sample steps
	peak   float64   // largest value
}

// NewCumulative integrates a resultant by the trapezoid rule. Values must not be
// negative. buf is reused when it is large enough.
func NewCumulative(t Trace, buf []float64) Cumulative {
	v := t.Values
	if cap(buf) < len(v) {
		buf = make([]float64, len(v))
	}
	c := Cumulative{sum: buf[:len(v)]}
	c.peak, _ = Peak(v)
	if len(v) == 0 {
		return c
	}
	sum := 0.0
	c.sum[0] = 0
	if t.TimeS == nil {
		c.rateHz = t.RateHz
		for i := 1; i < len(v); i++ {
			sum += (v[i-1] + v[i]) * 0.5
			c.sum[i] = sum
		}
		return c
	}
	c.timeS = t.TimeS
	for i := 1; i < len(v); i++ {
		sum += (t.TimeS[i] - t.TimeS[i-1]) * (v[i-1] + v[i]) * 0.5
		c.sum[i] = sum
	}
	return c
}

// FindHIC is the largest (t2−t1)·[1/(t2−t1)·∫ a dt]^2.5 over all pairs of samples
// not farther apart than windowS seconds: 49 CFR 571.208, S6; SAE J1727. hint may
// be the result of a shorter window of the same record, or zero.
//
// The result is exact: bit for bit what trying every pair gives. Rectangles of
// pairs (t1, t2) are passed over only when a bound on all their values is below
// the best pair found so far. Two bounds hold for them, D the integral over the
// widest of their windows: D·(D/shortest)^1.5, and D·(largest value)^1.5, because
// no mean exceeds the largest value. They tighten in proportion to the size of
// the rectangle, so the pairs that must be tried grow with the number of samples
// in the window and not with its square.
func (c Cumulative) FindHIC(windowS float64, hint HIC) HIC {
	s := hicSearch{sum: c.sum, timeS: c.timeS, peak: c.peak, window: windowS + 1e-9}
	n := len(c.sum)
	if c.timeS == nil {
		s.maxLag = int(math.Floor(min(s.window*c.rateHz, float64(n))))
	} else {
		s.maxLag = longestLag(c.timeS, s.window)
	}
	s.maxLag = min(s.maxLag, n-1)
	if s.maxLag < 1 {
		return HIC{}
	}
	if hint.Last > hint.First {
		s.try(hint.First, hint.Last)
	}
	s.seed()
	size := max(16, (s.maxLag+3)/4)
	for i := 0; i < n; i += size {
		for j := i; j <= min(i+size-1+s.maxLag, n-1); j += size {
			s.tile(i, min(i+size, n)-1, j, min(j+size, n)-1)
		}
	}
	out := HIC{Value: s.best, First: s.first, Last: s.last}
	if c.timeS == nil {
		out.Value /= c.rateHz
	}
	return out
}

// longestLag is the largest number of steps that fits into the window anywhere.
func longestLag(timeS []float64, window float64) int {
	longest, j := 0, 0
	for i := range timeS {
		for j+1 < len(timeS) && timeS[j+1]-timeS[i] <= window {
			j++
		}
		longest = max(longest, j-i)
	}
	return longest
}

// hicSearch looks for the best pair. Spans are in seconds for an uneven record
// and in steps for an even one.
type hicSearch struct {
	sum, timeS  []float64
	peak        float64
	window      float64
	maxLag      int
	best        float64
	first, last int
}

// span is the time from sample i to sample j.
func (s *hicSearch) span(i, j int) float64 {
	if s.timeS == nil {
		return float64(j - i)
	}
	return s.timeS[j] - s.timeS[i]
}

// allowed tells whether the pair fits into the window.
func (s *hicSearch) allowed(i, j int) bool {
	if s.timeS == nil {
		return j-i <= s.maxLag
	}
	return s.timeS[j]-s.timeS[i] <= s.window
}

// value is the criterion of one pair.
func (s *hicSearch) value(i, j int) float64 {
	span := s.span(i, j)
	return power25((s.sum[j]-s.sum[i])/span) * span
}

func (s *hicSearch) try(i, j int) {
	if v := s.value(i, j); v > s.best {
		s.best, s.first, s.last = v, i, j
	}
}

// seed tries the windows that grow from the steepest step by the larger
// neighbour: for a pulse of one lobe the best window is among them.
func (s *hicSearch) seed() {
	at, steepest := 0, -1.0
	for i := 0; i+1 < len(s.sum); i++ {
		if d := s.sum[i+1] - s.sum[i]; d > steepest {
			steepest, at = d, i
		}
	}
	i, j := at, at+1
	for s.allowed(i, j) {
		s.try(i, j)
		left, right := -1.0, -1.0
		if i > 0 {
			left = s.sum[i] - s.sum[i-1]
		}
		if j+1 < len(s.sum) {
			right = s.sum[j+1] - s.sum[j]
		}
		switch {
		case left < 0 && right < 0:
			return
		case left >= right:
			i--
		default:
			j++
		}
	}
}

// leaf is the number of pairs that are tried rather than divided again.
const leaf = 32

// slack keeps a bound above every value it stands for in spite of rounding.
const slack = 1 + 1e-12

// tile searches the pairs i0 ≤ i ≤ i1, j0 ≤ j ≤ j1.
func (s *hicSearch) tile(i0, i1, j0, j1 int) {
	i0, j0 = max(i0, j0-s.maxLag), max(j0, i0+1)
	i1, j1 = min(i1, j1-1), min(j1, i1+s.maxLag)
	if i0 > i1 || j0 > j1 {
		return
	}
	integral := s.sum[j1] - s.sum[i0]
	mean := s.peak
	if j0 > i1 {
		mean = min(mean, integral/s.span(i1, j0))
	}
	if integral*mean*math.Sqrt(mean)*slack <= s.best {
		return
	}
	rows, columns := i1-i0+1, j1-j0+1
	switch {
	case rows*columns <= leaf:
		s.every(i0, i1, j0, j1)
	case rows > columns:
		m := i0 + rows/2
		s.tile(i0, m-1, j0, j1)
		s.tile(m, i1, j0, j1)
	default:
		m := j0 + columns/2
		s.tile(i0, i1, j0, m-1)
		s.tile(i0, i1, m, j1)
	}
}

// every tries each pair of a tile.
func (s *hicSearch) every(i0, i1, j0, j1 int) {
	for i := i0; i <= i1; i++ {
		for j := max(j0, i+1); j <= j1 && s.allowed(i, j); j++ {
			s.try(i, j)
		}
	}
}

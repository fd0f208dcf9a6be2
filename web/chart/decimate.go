package chart

import "math"

// A bucket is what one column of the screen has of a curve: its smallest and
// largest value and which of them came first. Count is the number of finite
// samples in it; lost tells of samples that were not read.
type bucket struct {
	low, high float64
	highFirst bool
	count     int
	lost      bool
}

func (b *bucket) add(v float64) {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		b.lost = true
		return
	case b.count == 0:
		b.low, b.high = v, v
	case v < b.low:
		b.low, b.highFirst = v, true
	case v > b.high:
		b.high, b.highFirst = v, false
	}
	b.count++
}

// points are the two values in the order in which they came.
func (b *bucket) points() (first, second float64) {
	if b.count == 0 {
		return math.NaN(), math.NaN()
	}
	if b.highFirst {
		return b.high, b.low
	}
	return b.low, b.high
}

// byIndex thins n samples to 2*buckets points: for each bucket of neighbouring
// samples the smallest and the largest, in the order in which they came. With
// no more samples than points all samples are kept.
func byIndex(v []float64, buckets int) []float64 {
	n := len(v)
	if buckets <= 0 || n <= 2*buckets {
		return v
	}
	out := make([]float64, 0, 2*buckets)
	for i := range buckets {
		var b bucket
		for _, x := range v[i*n/buckets : (i+1)*n/buckets] {
			b.add(x)
		}
		first, second := b.points()
		out = append(out, first, second)
	}
	return out
}

// timesByIndex are the times that go with byIndex: first and last sample of
// each bucket.
func timesByIndex(t []float64, buckets int) []float64 {
	n := len(t)
	if buckets <= 0 || n <= 2*buckets {
		return t
	}
	out := make([]float64, 0, 2*buckets)
	for i := range buckets {
		out = append(out, t[i*n/buckets], t[(i+1)*n/buckets-1])
	}
	return out
}

// byTime sorts the samples between from and to into columns of equal width in
// time; uneven and repeated times are fine.
func byTime(t, v []float64, from, to float64, columns int) []bucket {
	bs := make([]bucket, columns)
	width := to - from
	for i, x := range v {
		if t[i] < from || t[i] > to {
			continue
		}
		col := 0
		if width > 0 {
			col = min(columns-1, int(float64(columns)*(t[i]-from)/width))
		}
		bs[col].add(x)
	}
	return bs
}

// span is the view of a record: the part asked for; else, in a long record, the
// impact; else all of it.
func (t Traces) span() (from, to float64) {
	if len(t.TimeS) == 0 {
		return 0, 1
	}
	from, to = t.TimeS[0], t.TimeS[len(t.TimeS)-1]
	viewFrom, viewTo := t.ViewFromS, t.ViewToS
	if !(viewTo > viewFrom) && to-from > longRecordS {
		viewFrom, viewTo = t.impact()
	}
	if viewTo > viewFrom {
		if f, u := max(from, viewFrom), min(to, viewTo); u > f {
			from, to = f, u
		}
	}
	if to <= from {
		from, to = from-0.5e-3, from+0.5e-3
	}
	return from, to
}

// The part of a long record that is shown first: a head impact lasts 8 to
// 20 ms, its rotation a few times that (common practice, no published source).
const (
	longRecordS   = 0.2
	beforeImpactS = 0.025
	afterImpactS  = 0.075
)

// impact is a window around the largest acceleration; 0, 0 when there is none.
func (t Traces) impact() (from, to float64) {
	best, at := 0.0, -1
	for _, c := range t.Channels {
		if c.Unit != "g" && c.Unit != "m/s2" {
			continue
		}
		v := c.best()
		if i := peak(v); i >= 0 && i < len(t.TimeS) && math.Abs(v[i]) > best {
			best, at = math.Abs(v[i]), i
		}
	}
	if at < 0 {
		return 0, 0
	}
	return t.TimeS[at] - beforeImpactS, t.TimeS[at] + afterImpactS
}

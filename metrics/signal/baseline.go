package signal

import "math"

// LeadSamples is the number of samples in the first durationS seconds of the
// record, at most all of them.
func (r *Recording) LeadSamples(durationS float64) int {
	n := r.Len()
	if n == 0 || !(durationS > 0) {
		return 0
	}
	if r.TimeS == nil {
		return int(math.Min(float64(n), math.Round(durationS*r.RateHz)))
	}
	end := r.TimeS[0] + durationS - 1e-9
	for i, t := range r.TimeS {
		if t >= end {
			return i
		}
	}
	return n
}

// Mean is the arithmetic mean, 0 for no values.
func Mean(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// Deviation is the standard deviation with n−1, 0 for fewer than two values.
func Deviation(values []float64) float64 {
	if len(values) < 2 {
		return 0
	}
	m, sum := Mean(values), 0.0
	for _, v := range values {
		sum += (v - m) * (v - m)
	}
	return math.Sqrt(sum / float64(len(values)-1))
}

// Trend is the slope of the least-squares line through evenly spaced values, in
// their unit for each sample, and its standard error, which holds if they scatter
// independently. Fewer than three values have no trend.
func Trend(values []float64) (perSample, standardError float64) {
	n := float64(len(values))
	if n < 3 {
		return 0, 0
	}
	mean, middle := Mean(values), (n-1)/2
	cross := 0.0
	for i, v := range values {
		cross += (float64(i) - middle) * (v - mean)
	}
	square := n * (n*n - 1) / 12
	perSample = cross / square
	rest := 0.0
	for i, v := range values {
		d := v - mean - perSample*(float64(i)-middle)
		rest += d * d
	}
	return perSample, math.Sqrt(rest / (n - 2) / square)
}

// MergeRepeats averages the samples that share one time and returns a recording
// whose times increase strictly. Without repeats it returns r itself; r and its
// channels are never changed. A sample that is not a number makes its average one.
func (r *Recording) MergeRepeats() *Recording {
	repeats := false
	for i := 1; i < len(r.TimeS); i++ {
		if r.TimeS[i] == r.TimeS[i-1] {
			repeats = true
			break
		}
	}
	if !repeats {
		return r
	}
	out := *r
	out.TimeS = nil
	var starts []int
	for i, t := range r.TimeS {
		if i == 0 || t != r.TimeS[i-1] {
			out.TimeS = append(out.TimeS, t)
			starts = append(starts, i)
		}
	}
	starts = append(starts, len(r.TimeS))
	out.Channels = make([]Channel, len(r.Channels))
	for c, ch := range r.Channels {
		values := make([]float64, len(out.TimeS))
		for k := range values {
			values[k] = Mean(ch.Values[starts[k]:starts[k+1]])
		}
		ch.Values = values
		out.Channels[c] = ch
	}
	return &out
}

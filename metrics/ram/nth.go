package ram

import "math"

// nth gives the value that would stand at index k if v were sorted, and puts v
// into another order. It takes time in proportion to len(v) on the average. v
// holds no NaN.
func nth(v []float64, k int) float64 {
	lo, hi := 0, len(v)-1
	for lo < hi {
		pivot := v[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[lo]
}

// bins is the number of parts that kth cuts the range of its values into.
const bins = 512

// kth gives the value that would stand at index k if v were sorted, and leaves v
// as it is. low and high are its least and largest value; work has room for v.
// Values are counted by part of the range, and only one part is looked into: a
// third of the time that dividing all of them again and again takes.
func kth(v []float64, k int, low, high float64, work []float64) float64 {
	scale := bins / (high - low)
	if !(scale > 0 && scale < math.MaxFloat64) { // all alike, or farther apart than float64 goes
		return nth(append(work[:0], v...), k)
	}
	// The same expression for the same value gives the same part, and a larger value
	// never a lower one.
	part := func(x float64) int { return min(max(int((x-low)*scale), 0), bins-1) }
	var count [bins]int
	for _, x := range v {
		count[part(x)]++
	}
	in := 0
	for k >= count[in] {
		k -= count[in]
		in++
	}
	members := work[:0]
	for _, x := range v {
		if part(x) == in {
			members = append(members, x)
		}
	}
	return nth(members, k)
}

// ends are the spikeSamples+1 least values, rising, and the largest, falling.
// v has at least as many.
func ends(v []float64) (low, high [spikeSamples + 1]float64) {
	for i := range low {
		low[i], high[i] = math.Inf(1), math.Inf(-1)
	}
	const last = spikeSamples
	for _, x := range v {
		if x < low[last] {
			i := last
			for ; i > 0 && x < low[i-1]; i-- {
				low[i] = low[i-1]
			}
			low[i] = x
		}
		if x > high[last] {
			i := last
			for ; i > 0 && x > high[i-1]; i-- {
				high[i] = high[i-1]
			}
			high[i] = x
		}
	}
	return low, high
}

package format

import (
	"fmt"
	"math"
	"slices"

	"thudbook/metrics/fault"
	"thudbook/metrics/unit"
)

// clock is the time base of one channel.
type clock struct {
	startS, rateHz float64
	times          []float64 // of uneven channels, in s
}

// evenClock is a clock of a start and a step as they are printed, with so many
// significant digits: a step of 3.33333E-05 s is 30 000 samples a second.
func evenClock(start, step float64, digits int, u unit.Unit) (clock, *fault.Error) {
	if s := u.ToBase(step); !sane(s) {
		return clock{}, &fault.Error{Code: fault.TimeColumn, What: fmt.Sprintf("the times step by %.3g s, which is no recording", s), Fix: "check the sampling interval and its unit"}
	}
	half := 0.5 * pow10(int(math.Floor(math.Log10(step)))+1-digits) / step
	if half > 2e-5 {
		half = 0 // so few digits are what they are
	}
	rounded, rate := nice(step, half)
	if rate > 0 {
		return clock{startS: u.ToBase(start), rateHz: u.FromBase(rate)}, nil
	}
	return clock{startS: u.ToBase(start), rateHz: u.Div / (rounded * u.Mul)}, nil
}

// listedClock is a clock of printed times, which never decrease. It takes t over.
func listedClock(t []float64, digits int, u unit.Unit) (clock, *fault.Error) {
	n := len(t)
	bad := func(what string) (clock, *fault.Error) {
		return clock{}, &fault.Error{Code: fault.TimeColumn, What: what, Fix: "check the times and their unit, and export the file again"}
	}
	if n < 2 {
		return bad("the channel has one sample only, which gives no sample rate")
	}
	if t[n-1] == t[0] {
		return bad(fmt.Sprintf("the time stands still: all %d samples are at %g", n, t[0]))
	}
	if s := u.ToBase((t[n-1] - t[0]) / float64(n-1)); !sane(s) {
		return bad(fmt.Sprintf("the times step by %.3g s, which is no recording", s))
	}
	const exponent = 300 // all digits printed are significant ones
	if start, rate, ok := even(t, exponent, digits, u); ok {
		return clock{startS: start, rateHz: rate}, nil
	}
	scale(t, u.Mul, u.Div)
	step := medianStep(t)
	if !sane(step) {
		return bad(fmt.Sprintf("the times step by %.3g s, which is no recording", step))
	}
	return clock{startS: t[0], rateHz: 1 / step, times: t}, nil
}

// same says whether samples of both clocks fall together over n samples, to a
// hundredth of a step.
func (k clock) same(o clock, n int) bool {
	if (k.times == nil) != (o.times == nil) {
		return false
	}
	if k.times != nil {
		return slices.Equal(k.times, o.times)
	}
	close := 0.01 / k.rateHz
	end := float64(n)
	return math.Abs(k.startS-o.startS) <= close && math.Abs(k.startS+end/k.rateHz-o.startS-end/o.rateHz) <= close
}

func (k clock) String() string {
	if k.times != nil {
		return fmt.Sprintf("uneven times from %.6g s", k.startS)
	}
	return fmt.Sprintf("%.9g samples a second from %.6g s", k.rateHz, k.startS)
}

// timeBase takes the time base that most channels share. The others are left
// out, each with a fault that names both.
func (c *columnReader) timeBase(bound []boundColumn, maxSamples int) ([]boundColumn, error) {
	best, votes := 0, 0
	for i := range bound {
		n := 0
		for j := range bound {
			if bound[i].clock.same(bound[j].clock, len(bound[i].values)) {
				n++
			}
		}
		if n > votes {
			best, votes = i, n
		}
	}
	first := bound[best]
	var kept []boundColumn
	for _, b := range bound {
		if first.clock.same(b.clock, len(first.values)) {
			kept = append(kept, b)
			continue
		}
		c.out.Faults = append(c.out.Faults, &fault.Error{Code: MixedRates, Channel: b.label,
			What: fmt.Sprintf("channel %s has %s, but channel %s has %s", b.label, b.clock, first.label, first.clock),
			Fix:  "export all channels with one rate and one first time"})
	}
	rec := &c.out.Recording
	rec.StartS, rec.RateHz, rec.TimeS = first.clock.startS, first.clock.rateHz, first.clock.times
	rec.Uneven = rec.TimeS != nil
	if rate := c.out.Map.Time.RateHz; rate > 0 {
		if math.Abs(rate/rec.RateHz-1) > 1e-6 {
			c.say("The file says %.9g samples a second; the channel map's rate_hz = %.9g holds.", rec.RateHz, rate)
		}
		rec.RateHz, rec.TimeS, rec.Uneven = rate, nil, false
	}
	return kept, c.length(kept, maxSamples)
}

// length makes the channels equally long: as most of them are, the longer of
// two lengths when neither is more common.
func (c *columnReader) length(kept []boundColumn, maxSamples int) error {
	count := map[int]int{}
	n := 0
	for _, b := range kept {
		l := len(b.values)
		count[l]++
		if count[l] > count[n] || count[l] == count[n] && l > n {
			n = l
		}
	}
	if n > maxSamples/len(kept) {
		return &fault.Error{Code: fault.TooLarge, What: fmt.Sprintf("%d channels of %d samples are more than the limit of %d", len(kept), n, maxSamples), Fix: "cut the recording to the shot, bind fewer channels, or raise the limit"}
	}
	for i := range kept {
		b := kept[i].column
		switch l := len(b.values); {
		case l > n:
			c.say("Channel %s has %d samples, the others have %d; the rest of it is not used.", b.label, l, n)
			b.values = b.values[:n]
		case l < n:
			if b.fault == nil || b.fault.Code != fault.Truncated {
				c.out.Faults = append(c.out.Faults, &fault.Error{Code: fault.Truncated, Channel: b.label, What: fmt.Sprintf("channel %s has %d samples, the others have %d", b.label, l, n), Fix: "export the file again"})
			}
			b.values = slices.Grow(b.values, n-l)
			for range n - l {
				b.values = append(b.values, math.NaN())
			}
		}
	}
	return nil
}

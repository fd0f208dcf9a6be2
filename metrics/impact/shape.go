package impact

// Shape is the form of one pulse: common practice, no published source. Times are
// in seconds, crossings interpolated.
type Shape struct {
	TimeToPeakS float64 // from the start of the pulse, its threshold crossing, to the peak
	// Widths between the crossings nearest to the peak of 10 % and 50 % of it, and
	// the slope of the line from 10 % to 90 % before it, in the trace's unit a
	// second. 0 where the record does not hold both crossings.
	Width10S, Width50S  float64
	RisePerS            float64
	From10S, To10S      float64
	From50S, To50S      float64
	RiseFromS, RiseToS  float64
	Has10, Has50, HasUp bool
}

// FindShape describes the pulse p of a trace. Shares of the peak: PulseShapeForm.
func FindShape(t Trace, p Pulse) Shape {
	d := PulseShapeForm()
	low, middle, high := d.Value("low"), d.Value("middle"), d.Value("high")
	peak := t.Values[p.Peak]
	s := Shape{TimeToPeakS: t.At(p.Peak) - p.StartS}
	s.From10S, s.To10S, s.Has10 = around(t, p.Peak, low*peak)
	s.From50S, s.To50S, s.Has50 = around(t, p.Peak, middle*peak)
	s.Width10S, s.Width50S = s.To10S-s.From10S, s.To50S-s.From50S
	var fromOK, toOK bool
	s.RiseFromS, fromOK = before(t, p.Peak, low*peak)
	s.RiseToS, toOK = before(t, p.Peak, high*peak)
	if s.HasUp = fromOK && toOK && s.RiseToS > s.RiseFromS; s.HasUp {
		s.RisePerS = (high - low) * peak / (s.RiseToS - s.RiseFromS)
	}
	return s
}

// around gives the crossings of a level next to sample at on both sides.
func around(t Trace, at int, level float64) (fromS, toS float64, ok bool) {
	fromS, ok = before(t, at, level)
	if !ok {
		return 0, 0, false
	}
	v := t.Values
	for i := at; i+1 < len(v); i++ {
		if v[i+1] <= level {
			return fromS, t.At(i) + t.step(i)*(v[i]-level)/(v[i]-v[i+1]), true
		}
	}
	return 0, 0, false
}

// before gives the last crossing of a level, upwards, before sample at, whose value
// is above the level.
func before(t Trace, at int, level float64) (timeS float64, ok bool) {
	v := t.Values
	for i := at - 1; i >= 0; i-- {
		if v[i] <= level {
			return t.At(i) + t.step(i)*(level-v[i])/(v[i+1]-v[i]), true
		}
	}
	return 0, false
}

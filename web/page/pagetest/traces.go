package pagetest

import (
	"math"

	"thudbook/web/chart"
)

// Traces invents a shot: seven channels at n samples over half a second, a
// pulse of 14 ms at time zero, some noise that is the same every time.
func Traces(n int) *chart.Traces {
	t := times(n)
	tr := &chart.Traces{TimeS: t, FromTrigger: true, ViewFromS: -0.010, ViewToS: 0.060, Marks: []chart.Mark{{Label: "HIC window, 15 ms", Unit: "g", FromS: 0.0024, ToS: 0.0121}, {Label: "3 ms clip", Unit: "g", FromS: 0.0055, ToS: 0.0085}}}
	for i, axis := range []string{"x", "y", "z"} {
		peak := []float64{94, -31, 42}[i]
		tr.Channels = append(tr.Channels, channel(t, "a"+axis, "Head "+axis, "linear acceleration", "centre of gravity", axis, "g", "CFC 1000", peak, 0.014))
	}
	for i, axis := range []string{"x", "y", "z"} {
		peak := []float64{-6, 31, 9}[i]
		tr.Channels = append(tr.Channels, channel(t, "w"+axis, "Head rate "+axis, "angular velocity", "centre of gravity", axis, "rad/s", "CFC 60", peak, 0.030))
	}
	gate := chart.Channel{Name: "gate", Label: "Light gate", Quantity: "light gate", Position: "muzzle", Unit: "V", Raw: make([]float64, n)}
	for i, s := range t {
		if s > -0.012 && s < -0.0074 {
			gate.Raw[i] = 5
		}
	}
	tr.Channels = append(tr.Channels, gate)
	return tr
}

// Many is a shot with twelve channels of 10 000 samples.
func Many() *chart.Traces {
	tr := Traces(10_000)
	for _, position := range []string{"crown", "chin"} {
		for _, axis := range []string{"x", "y", "z"} {
			tr.Channels = append(tr.Channels, channel(tr.TimeS, position+axis, position+" "+axis, "linear acceleration", position, axis, "g", "CFC 1000", 80, 0.012))
		}
	}
	tr.Channels = tr.Channels[:12]
	return tr
}

// Broken has uneven times, a gap, and a channel that was not read at all.
func Broken() *chart.Traces {
	tr := Traces(3000)
	for i := range tr.TimeS {
		tr.TimeS[i] += 4e-5 * math.Sin(float64(i))
	}
	for i := 700; i < 1100; i++ {
		tr.Channels[2].Raw[i], tr.Channels[2].Filtered[i] = math.NaN(), math.NaN()
	}
	for i := range tr.TimeS {
		tr.Channels[3].Raw[i], tr.Channels[3].Filtered[i] = math.NaN(), math.NaN()
	}
	return tr
}

func times(n int) []float64 {
	t := make([]float64, n)
	for i := range t {
		t[i] = -0.05 + 0.5*float64(i)/float64(n)
	}
	return t
}

func channel(t []float64, name, label, quantity, position, axis, unit, class string, peak, width float64) chart.Channel {
	c := chart.Channel{Name: name, Label: label, Quantity: quantity, Position: position, Axis: axis, Unit: unit, Class: class,
		Raw: make([]float64, len(t)), Filtered: make([]float64, len(t))}
	for i, s := range t {
		v := 0.0
		if s > 0 && s < width {
			v = peak * math.Pow(math.Sin(math.Pi*s/width), 2)
		} else if s >= width {
			v = -0.12 * peak * math.Exp(-(s-width)/0.03) * math.Sin((s-width)*260)
		}
		c.Filtered[i] = v
		c.Raw[i] = v + math.Abs(peak)*0.02*math.Sin(float64(i)*1.7)*math.Sin(float64(i)*0.31)
	}
	return c
}

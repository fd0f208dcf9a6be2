package ram

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"thudbook/metrics/fault"
)

// Widened is the curve with its scatter taken as factor times as large: for a
// ram that was serviced since the shots were fired.
func (c Curve) Widened(factor float64) Curve {
	c.Line.ResidualSD *= factor
	return c
}

// Trend is how the squared speed at a given pressure changes from stroke to
// stroke: c in v² = a + b p + c n, by least squares over all shots.
type Trend struct {
	PerStroke float64 // m²/s² a stroke
	SE        float64 // its standard error
	DF        int
	First     float64 // stroke of the first and of the last shot
	Last      float64
}

// NoTrend is the fault of a trend that cannot be told from scatter.
const NoTrend fault.Code = "no_trend"

// FitTrend fits pressures in kPa gauge and numbers of strokes against speeds in
// m/s. The effect of the pressure is taken off both strokes and squares first;
// what is left of them has the slope of the full fit (Frisch and Waugh,
// Econometrica 1 (1933) 387-401). All pressures may be alike. The error is a
// *fault.Error: too few shots, or all on one stroke.
func FitTrend(pressureKPa, speedMS, stroke []float64) (Trend, error) {
	n := len(speedMS)
	if len(pressureKPa) != n || len(stroke) != n {
		panic("ram: lengths of pressure, speed and strokes differ")
	}
	y := make([]float64, n)
	t := Trend{First: math.Inf(1), Last: math.Inf(-1), DF: n - 2}
	for i, v := range speedMS {
		if err := finitePoint(i, v+pressureKPa[i]+stroke[i]); err != nil {
			return Trend{}, err
		}
		y[i] = v * v
		t.First, t.Last = min(t.First, stroke[i]), max(t.Last, stroke[i])
	}
	x := stroke
	if reach(pressureKPa) > 0 {
		t.DF--
		var err error
		if x, err = without(pressureKPa, x); err == nil {
			y, err = without(pressureKPa, y)
		}
		if err != nil {
			return Trend{}, err
		}
	}
	if t.DF < 1 || !(reach(x) > 1e-6*(t.Last-t.First)) { // the rest is rounding: strokes and pressures rose together
		return Trend{}, &fault.Error{Code: TooFewShots, What: fmt.Sprintf("%d shots are too few to see a trend in", n), Fix: "look again after some more shots"}
	}
	l, err := FitLine(x, y, nil)
	if err != nil {
		return Trend{}, err
	}
	left := l.ResidualSD * math.Sqrt(float64(l.DF)/float64(t.DF)) // the pressure cost a degree of freedom
	t.PerStroke, t.SE = l.B, left/math.Sqrt(l.Sxx)
	return t, nil
}

// reach is the difference of the largest and the least value.
func reach(x []float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		low, high = min(low, v), max(high, v)
	}
	return high - low
}

// without takes off y what is linear in p.
func without(p, y []float64) ([]float64, error) {
	l, err := FitLine(p, y, nil)
	out := make([]float64, len(y))
	for i := range y {
		out[i] = y[i] - l.At(p[i])
	}
	return out, err
}

// Leaves gives the number of strokes, counted from the first shot of the fit,
// after which the mean speed at the pressure that gave speedMS then has moved by
// toleranceMS; High may be +Inf. Where the trend cannot be told from no trend at
// the given level (0.95), the error is a *fault.Error with NoTrend.
func (t Trend) Leaves(speedMS, toleranceMS, level float64) (Interval, error) {
	h := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(t.DF)}.Quantile(0.5+level/2) * t.SE
	low, high := math.Abs(t.PerStroke)-h, math.Abs(t.PerStroke)+h
	if !(low > 0) {
		return Interval{}, &fault.Error{Code: NoTrend, What: "no trend of the speed can be told from its scatter", Fix: "look again after some more shots"}
	}
	to := max(speedMS-toleranceMS, 0)
	if t.PerStroke > 0 {
		to = speedMS + toleranceMS
	}
	change := math.Abs(to*to - speedMS*speedMS)
	return Interval{Value: change / math.Abs(t.PerStroke), Low: change / high, High: change / low}, nil
}

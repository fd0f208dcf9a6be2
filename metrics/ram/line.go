package ram

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"thudbook/metrics/fault"
)

// Line is a straight line y = A + B x fitted by least squares, with what its
// intervals need.
type Line struct {
	A, B       float64
	ResidualSD float64 // of an observation of weight 1
	DF         int     // degrees of freedom, n - 2
	MeanX      float64 // weighted
	Sxx        float64 // weighted sum of squares about MeanX
	SumW       float64 // n when unweighted
	MinX, MaxX float64
}

// FitLine fits y = a + b x; w holds the weights, or nil for equal ones. It
// wants three points at two different x at least; otherwise the error is a
// *fault.Error. It panics if the lengths differ.
func FitLine(x, y, w []float64) (Line, error) {
	if len(x) != len(y) || (w != nil && len(w) != len(x)) {
		panic("ram: lengths of x, y and weights differ")
	}
	weight := func(i int) float64 {
		if w == nil {
			return 1
		}
		return w[i]
	}
	l := Line{DF: len(x) - 2, MinX: math.Inf(1), MaxX: math.Inf(-1)}
	var my float64
	for i := range x {
		l.SumW += weight(i)
		l.MeanX += weight(i) * x[i]
		my += weight(i) * y[i]
		l.MinX, l.MaxX = min(l.MinX, x[i]), max(l.MaxX, x[i])
	}
	if l.DF < 1 || !(l.MinX < l.MaxX) {
		return Line{}, &fault.Error{Code: TooFewShots,
			What: "a line with an interval needs three points at two different places at least",
			Fix:  "add shots at the other target speeds of the approved test plan"}
	}
	l.MeanX /= l.SumW
	my /= l.SumW
	var sxy float64
	for i := range x {
		dx := x[i] - l.MeanX
		l.Sxx += weight(i) * dx * dx
		sxy += weight(i) * dx * (y[i] - my)
	}
	l.B = sxy / l.Sxx
	l.A = my - l.B*l.MeanX
	var ss float64
	for i := range x {
		r := y[i] - l.A - l.B*x[i]
		ss += weight(i) * r * r
	}
	l.ResidualSD = math.Sqrt(ss / float64(l.DF))
	return l, nil
}

// At is the fitted y at x.
func (l Line) At(x float64) float64 { return l.A + l.B*x }

// PredictionSD is the standard deviation of one new observation of weight
// wNew at x about the fitted line.
func (l Line) PredictionSD(x, wNew float64) float64 {
	d := x - l.MeanX
	return l.ResidualSD * math.Sqrt(1/wNew+1/l.SumW+d*d/l.Sxx)
}

// T is the two-sided quantile of Student's distribution for a confidence
// level such as 0.95.
func (l Line) T(level float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(l.DF)}.Quantile(0.5 + level/2)
}

// Inverse is an x found from an observed y.
type Inverse struct {
	X         float64
	DeltaHalf float64 // half width of the first-order ("delta") interval
	Low, High float64 // Fieller's interval
}

// Invert finds the x at which the mean of m new observations, each of weight
// wNew, is y0; the interval is Fieller's (1954). m may be +Inf for the mean
// response. When the slope is too uncertain for a finite interval the error is
// a *fault.Error with NoInterval.
func (l Line) Invert(y0, m, wNew, level float64) (Inverse, error) {
	t := l.T(level)
	g := t * t * l.ResidualSD * l.ResidualSD / (l.B * l.B * l.Sxx)
	if !(g < 1) {
		return Inverse{}, &fault.Error{Code: NoInterval,
			What: "the slope is too uncertain: no finite interval holds the answer",
			Fix:  "add shots at the other target speeds of the approved test plan"}
	}
	x := (y0 - l.A) / l.B
	d := x - l.MeanX
	scale := t * l.ResidualSD / math.Abs(l.B)
	spread := 1/(m*wNew) + 1/l.SumW
	centre := l.MeanX + d/(1-g)
	half := scale / (1 - g) * math.Sqrt(spread*(1-g)+d*d/l.Sxx)
	return Inverse{
		X: x, DeltaHalf: scale * math.Sqrt(spread+d*d/l.Sxx),
		Low: centre - half, High: centre + half,
	}, nil
}

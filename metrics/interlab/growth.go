package interlab

import (
	"fmt"
	"math"
	"slices"

	"thudbook/metrics/fault"
)

// Growth tells how the standard deviation grows with the mean, by the model
// s = b m^c of ISO 5725-2, 7.5: a straight line through the logarithms.
type Growth struct {
	Points  int     // pairs used
	LeftOut int     // pairs with a mean or standard deviation that is not above zero
	C       float64 // the exponent: slope of ln s over ln m
	CSE     float64 // its standard error
	CLow    float64 // interval of c at the level asked for
	CHigh   float64
	B       float64
	// TakeLogarithms: c = 1 is likely (in the interval) and c = 0 is not, so
	// the scatter is a share of the value, and logarithms even it out.
	TakeLogarithms bool
	Advice         string
}

// SDGrowth fits the model to pairs of mean and standard deviation, of cells or
// of levels; level is that of the interval, such as 0.95. It needs three pairs
// above zero at two different means; otherwise the error is a *fault.Error. It
// panics if the lengths differ or level is not within (0, 1).
func SDGrowth(means, sds []float64, level float64) (Growth, error) {
	if len(means) != len(sds) {
		panic("interlab: lengths of means and standard deviations differ")
	}
	wantLevel(level)
	var g Growth
	var x, y []float64
	for i, m := range means {
		if !(m > 0) || !(sds[i] > 0) || math.IsInf(m, 1) || math.IsInf(sds[i], 1) {
			g.LeftOut++
			continue
		}
		x, y = append(x, math.Log(m)), append(y, math.Log(sds[i]))
	}
	g.Points = len(x)
	var mx, my float64
	for i := range x {
		mx += x[i] / float64(g.Points)
		my += y[i] / float64(g.Points)
	}
	var sxx, sxy, ss float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	if g.Points < 3 || slices.Max(x) == slices.Min(x) {
		return Growth{}, &fault.Error{Code: TooFewLaboratories,
			What: fmt.Sprintf("%d pairs of mean and standard deviation above zero, or all at one mean: no growth can be told", g.Points),
			Fix:  "give three at least, at different means"}
	}
	g.C = sxy / sxx
	g.B = math.Exp(my - g.C*mx)
	for i := range x {
		r := y[i] - my - g.C*(x[i]-mx)
		ss += r * r
	}
	df := g.Points - 2
	g.CSE = math.Sqrt(ss / float64(df) / sxx)
	h := studentT(0.5+level/2, df) * g.CSE
	g.CLow, g.CHigh = g.C-h, g.C+h
	one, zero := g.CLow <= 1 && g.CHigh >= 1, g.CLow <= 0 && g.CHigh >= 0
	switch {
	case one && !zero:
		g.TakeLogarithms = true
		g.Advice = "the standard deviation grows in proportion to the mean: analyse natural logarithms"
	case zero && !one:
		g.Advice = "the standard deviation does not grow with the mean: analyse the values as they are"
	case zero && one:
		g.Advice = "too few or too scattered pairs to tell whether the standard deviation grows with the mean"
	default:
		g.Advice = "the standard deviation changes with the mean, but not in proportion: state the precision level by level"
	}
	return g, nil
}

// Log gives the level in natural logarithms. Its s_r and s_R are then relative:
// nearly fractions of the mean while they are below 0.1. A result that is not
// above zero is a *fault.Error.
func (l Level) Log() (Level, error) {
	out := Level{Name: l.Name, Unit: "ln(" + l.Unit + ")", Cells: make([]Cell, len(l.Cells))}
	for i, c := range l.Cells {
		out.Cells[i] = Cell{Laboratory: c.Laboratory, Values: make([]float64, len(c.Values))}
		for k, v := range c.Values {
			if !(v > 0) || math.IsInf(v, 1) {
				return Level{}, &fault.Error{Code: BadResult,
					What: fmt.Sprintf("level %q, laboratory %q, replicate %d is %g and has no logarithm", l.Name, c.Laboratory, k+1, v),
					Fix:  "analyse the values as they are, or correct the result"}
			}
			out.Cells[i].Values[k] = math.Log(v)
		}
	}
	return out, nil
}

package risk

import (
	"math"
	"strconv"
	"strings"
)

// constant looks a constant up by name; one that is not there is a mistake in the
// table and panics.
func (f *Function) constant(name string) float64 {
	for i := range f.Constants {
		if f.Constants[i].Name == name {
			return f.Constants[i].Value
		}
	}
	panic("risk: " + f.ID + " has no constant " + name)
}

// evaluate gives the function's value for its inputs, which are finite and ≥ 0.
// bound is set where only published points are known and the input is beyond them.
func (f *Function) evaluate(x []float64) (value float64, bound string) {
	switch f.Shape {
	case "logistic":
		z := f.constant("b0") + f.constant("b1")*x[0]
		if len(x) > 1 {
			z += f.constant("b2")*x[1] + f.constant("b3")*x[0]*x[1]
		}
		return 1 / (1 + math.Exp(-z)), ""
	case "weibull":
		above := max(0, x[0]-f.constant("offset"))
		return -math.Expm1(-math.Pow(above/f.constant("scale"), f.constant("shape"))), ""
	case "hic expanded": // at 0 the exponent is infinite and the value 0
		return 1 / (1 + math.Exp(f.constant("b0")+f.constant("b1")/x[0]-f.constant("b2")*x[0])), ""
	case "lognormal":
		return math.Erfc(-(math.Log(x[0])-f.constant("mu"))/f.constant("sigma")/math.Sqrt2) / 2, ""
	case "points":
		return f.between(x[0])
	}
	panic("risk: " + f.ID + " has the unknown shape " + f.Shape)
}

// between follows straight lines between the published points, whose names are
// their shares in percent and which rise in the table.
func (f *Function) between(x float64) (value float64, bound string) {
	for i, c := range f.Constants {
		upper := share(c.Name)
		switch {
		case x > c.Value:
		case x == c.Value:
			return upper, ""
		case i == 0:
			return upper, "at most"
		default:
			below := f.Constants[i-1]
			lower := share(below.Name)
			return lower + (upper-lower)*(x-below.Value)/(c.Value-below.Value), ""
		}
	}
	return share(f.Constants[len(f.Constants)-1].Name), "at least"
}

// share reads "25 %".
func share(name string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSuffix(name, " %"), 64)
	if err != nil {
		panic("risk: a point named " + name)
	}
	return v / 100
}

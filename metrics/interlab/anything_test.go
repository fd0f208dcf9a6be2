package interlab_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/interlab"
)

// anyValue draws finite, huge, tiny, equal and non-finite values.
func anyValue() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.Float64(), rapid.Float64Range(-10, 10),
		rapid.SampledFrom([]float64{0, 1, 1, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, 5e-324, 1e149, -1e149}))
}

// Whatever the data, there is a result or a described fault, and no panic; a
// result has standard deviations that are numbers.
func TestAnyDataGivesAResultOrAFault(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		l := interlab.Level{Name: "drawn"}
		for i := range rapid.IntRange(0, 6).Draw(r, "laboratories") {
			l.Cells = append(l.Cells, interlab.Cell{Laboratory: fmt.Sprint(i),
				Values: rapid.SliceOfN(anyValue(), 0, 4).Draw(r, "values")})
		}
		m := rapid.SampledFrom([]interlab.Method{interlab.ISO5725, interlab.E691}).Draw(r, "method")
		p, err := interlab.Analyse(l, m)
		if err == nil && (math.IsNaN(p.Sr) || math.IsNaN(p.SR) || math.IsInf(p.SR, 0) || p.SR < p.Sr || math.IsNaN(p.Mean)) {
			r.Errorf("%+v gives s_r %g, s_R %g, mean %g", l, p.Sr, p.SR, p.Mean)
		}
		if err == nil && len(p.Rows) != p.Laboratories {
			r.Errorf("%d rows for %d laboratories", len(p.Rows), p.Laboratories)
		}
		flat := rapid.SliceOfN(anyValue(), 0, 9).Draw(r, "flat")
		if a, err := interlab.AlgorithmA(flat, interlab.PrintedConstants()); err == nil && (math.IsNaN(a.Mean) || math.IsNaN(a.SD)) {
			r.Errorf("%v gives %+v", flat, a)
		}
		if g, err := interlab.SDGrowth(flat, flat, 0.95); err == nil && math.IsNaN(g.C) {
			r.Errorf("%v gives %+v", flat, g)
		}
	})
}

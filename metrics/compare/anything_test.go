package compare_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/compare"
)

// Whatever the values, there is a result or a described fault, and no panic.
func TestAnyValuesGiveAResultOrAFault(t *testing.T) {
	value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-10, 10),
		rapid.SampledFrom([]float64{0, 1, 1, math.NaN(), math.Inf(1), math.MaxFloat64, 5e-324, 1e149, -1e149}))
	rapid.Check(t, func(r *rapid.T) {
		a := compare.Sample{Name: "a", Values: rapid.SliceOfN(value, 0, 5).Draw(r, "a")}
		b := compare.Sample{Name: "b", Values: rapid.SliceOfN(value, 0, 5).Draw(r, "b")}
		c, err := compare.Welch(a, b, 0.95)
		if err == nil && (math.IsNaN(c.P) || math.IsNaN(c.Effect.G) || math.IsInf(c.Effect.G, 0) || !(c.Effect.Low <= c.Effect.High) || c.P < 0 || c.P > 1 || !(c.Low <= c.Difference && c.Difference <= c.High)) {
			r.Errorf("%v against %v gives %+v", a.Values, b.Values, c)
		}
		_, err = compare.BootstrapDifference(a, b, meanOf, compare.BootstrapOptions{Resamples: 100})
		if (err == nil) != (usable(a) && usable(b)) {
			r.Errorf("%v, %v: error %v", a.Values, b.Values, err)
		}
	})
}

func usable(s compare.Sample) bool {
	for _, v := range s.Values {
		if !(math.Abs(v) < 1e150) {
			return false
		}
	}
	return len(s.Values) >= 2
}

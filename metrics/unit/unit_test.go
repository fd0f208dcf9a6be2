package unit_test

import (
	"math"
	"testing"

	"thudbook/metrics/unit"
)

// The factors are exact by definition: standard free fall (3rd General Conference
// on Weights and Measures, 1901), the international yard and pound agreement
// (1959), the SI brochure. The definitions, and the rounded factors of NIST SP
// 811, appendix B.8, that are quoted beside them, are from memory, not confirmed
// against print; the values wanted were worked out from the definitions by hand.
func TestConversions(t *testing.T) {
	tests := []struct {
		value  float64
		text   string
		want   float64
		dim    unit.Dimension
		source string
	}{
		{9.80665, "m/s2", 1, unit.Acceleration, "NIST SP 811 appendix B.8: standard free fall, exact"},
		{98.0665, "m/s^2", 10, unit.Acceleration, "ten of them"},
		{1, "G", 1, unit.Acceleration, "identity"},
		{180, "deg/s", math.Pi, unit.AngularVelocity, "SI brochure table 8"},
		{-90, "°/s", -math.Pi / 2, unit.AngularVelocity, "SI brochure table 8"},
		{30, "rpm", math.Pi, unit.AngularVelocity, "NIST SP 811: rpm = 2π/60 rad/s"},
		{50, "µs", 50e-6, unit.Time, "SI prefix"},
		{15, "ms", 0.015, unit.Time, "SI prefix"},
		{1, "psi", 6.894757293168361, unit.Pressure, "NIST SP 811: 6.894757 E+03 Pa; more digits from the 1959 definitions"},
		{1, "bar", 100, unit.Pressure, "SI brochure"},
		{1, "lbf", 4.4482216152605, unit.Force, "NIST SP 811: 4.448222 E+00 N; exact 4.4482216152605"},
		{2.5, "kN", 2500, unit.Force, "SI prefix"},
		{1, "ft/s", 0.3048, unit.Speed, "NIST SP 811, exact"},
		{36, "km/h", 10, unit.Speed, "NIST SP 811: 2.777778 E-01 m/s"},
		{9.80665, "m/(s*s)", 1, unit.Acceleration, "spelling of ISO/TS 13499; standard free fall"},
		{1379, "Pa", 1.379, unit.Pressure, "SI prefix"},
		{1, "MPa", 1000, unit.Pressure, "SI prefix"},
		{1013.25, "hPa", 101.325, unit.Pressure, "standard atmosphere, 101 325 Pa exactly (10th General Conference, 1954)"},
	}
	for _, tc := range tests {
		u, ok := unit.Parse(tc.text)
		if !ok {
			t.Errorf("Parse(%q) knows no such unit", tc.text)
			continue
		}
		if u.Dimension != tc.dim {
			t.Errorf("Parse(%q).Dimension = %s, want %s", tc.text, u.Dimension, tc.dim)
		}
		got := u.ToBase(tc.value)
		if math.Abs(got-tc.want) > 2e-16*math.Abs(tc.want) {
			t.Errorf("%g %s = %.17g, want %.17g (%s)", tc.value, tc.text, got, tc.want, tc.source)
		}
		if back := u.FromBase(got); math.Abs(back-tc.value) > 4e-16*math.Abs(tc.value) {
			t.Errorf("%g %s there and back = %.17g", tc.value, tc.text, back)
		}
	}
}

// The spellings are common practice in acquisition programs, no published source.
func TestSpellings(t *testing.T) {
	tests := map[string][]string{
		"g":     {"g", "G", "[g]", "(g)", "g's", " g ", "gn"},
		"m/s2":  {"m/s2", "m/s^2", "m/s²", "m·s⁻²", "m*s^-2", "m/(s*s)", "(m/s²)", "M/S2", "m/s**2", "[m/s/s]", "m s-2", "m_s2"},
		"rad/s": {"rad/s", "rad/sec", "[rad/s]", "Rad/s", "rad·s⁻¹", "rad_s"},
		"deg/s": {"deg/s", "°/s", "º/s", "dps", "degrees/sec", "DEG/S"},
		"s":     {"s", "sec", "S", "seconds", "[s]"},
		"ms":    {"ms", "msec", "(ms)", "MS"},
		"us":    {"us", "µs", "μs", "usec"},
		"kPa":   {"kPa", "KPA", "kpa"},
		"MPa":   {"MPa"},
		"psi":   {"psi", "PSI", "psig", "lbf/in²"},
		"lbf":   {"lbf", "lb"},
		"m/s":   {"m/s", "m·s⁻¹"},
		"mV":    {"mV", "mv"},
		"V":     {"V", "Volts", "[V]"},
		"count": {"count", "Counts", "LSB"},
	}
	for want, texts := range tests {
		for _, text := range texts {
			if u, ok := unit.Parse(text); !ok || u.Symbol != want {
				t.Errorf("Parse(%q) = %q, %t; want %q", text, u.Symbol, ok, want)
			}
		}
	}
	for _, text := range []string{"", "[]", "ax", "furlong", "1", "mg", "()", "[g", "((", "g]"} {
		if u, ok := unit.Parse(text); ok {
			t.Errorf("Parse(%q) = %q, want nothing", text, u.Symbol)
		}
	}
}

func TestConvert(t *testing.T) {
	psi, _ := unit.Parse("psi")
	bar, _ := unit.Parse("bar")
	v, ok := unit.Convert(20, psi, bar)
	if want := 1.3789514586336722; !ok || math.Abs(v-want) > 4e-16 {
		t.Errorf("20 psi = %.17g bar, want %.17g (pound and inch of 1959, standard free fall)", v, want)
	}
	g := unit.Base(unit.Acceleration)
	if _, ok := unit.Convert(1, psi, g); ok {
		t.Error("a pressure converted to an acceleration")
	}
	if v, _ := unit.Convert(0.1, psi, psi); v != 0.1 {
		t.Errorf("0.1 psi to psi = %.17g, want it untouched", v)
	}
	for _, d := range []unit.Dimension{unit.Acceleration, unit.AngularVelocity, unit.Time, unit.Pressure, unit.Force, unit.Speed} {
		if b := unit.Base(d); !b.Base() || b.Dimension != d {
			t.Errorf("Base(%s) = %+v", d, b)
		}
	}
}

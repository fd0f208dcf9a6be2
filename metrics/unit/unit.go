// Package unit knows the units that acquisition programs print and turns values
// into the units that everything below metrics computes with: g, rad/s, s, kPa,
// N and m/s. Every factor is a number by definition; the definition stands
// beside it (all of them from memory, not confirmed against print).
package unit

import (
	"math"
	"slices"
	"strings"
)

// G0 is the standard acceleration of free fall in m/s², exact (3rd General
// Conference on Weights and Measures, 1901; ISO 80000-3).
const G0 = 9.80665

// Dimension groups units that convert into each other.
type Dimension string

// The dimensions. Each has one base unit; Raw is what a sensor puts out before
// its sensitivity is known and converts into nothing.
const (
	Acceleration    Dimension = "acceleration"     // base g
	AngularVelocity Dimension = "angular velocity" // base rad/s
	Time            Dimension = "time"             // base s
	Pressure        Dimension = "pressure"         // base kPa
	Force           Dimension = "force"            // base N
	Speed           Dimension = "speed"            // base m/s
	Raw             Dimension = "raw"              // V, mV, count: only with a sensitivity
)

// Unit is one unit. A value in it times Mul, divided by Div, is the value in
// the base unit of its dimension. Two numbers stand where one would not be
// exact: 1/1000 has no exact binary form, 1000 has.
type Unit struct {
	Symbol     string // as we print it
	Dimension  Dimension
	Mul, Div   float64
	Definition string // where the factor comes from
}

// Base is true for the unit that its dimension is computed in.
func (u Unit) Base() bool { return u.Mul == 1 && u.Div == 1 && u.Dimension != Raw }

// ToBase turns a value in u into the base unit of its dimension.
func (u Unit) ToBase(v float64) float64 { return v * u.Mul / u.Div }

// FromBase turns a value in the base unit into u.
func (u Unit) FromBase(v float64) float64 { return v * u.Div / u.Mul }

// Convert turns a value in one unit into another; ok is false when they
// measure different things.
func Convert(v float64, from, to Unit) (converted float64, ok bool) {
	if from.Dimension != to.Dimension {
		return 0, false
	}
	if from.Mul == to.Mul && from.Div == to.Div {
		return v, true
	}
	return to.FromBase(from.ToBase(v)), true
}

// Base gives the base unit of a dimension; Raw has none and gives V.
func Base(d Dimension) Unit {
	for _, e := range table() {
		if e.Dimension == d && e.Mul == 1 && e.Div == 1 {
			return e.Unit
		}
	}
	return Unit{}
}

// Parse finds the unit that a text means. It takes the spellings of
// acquisition programs: brackets round it, "m/s^2", "m/s²", "m·s⁻²", "°/s",
// "µs" with either micro sign, "G".
// ok is false when the text is no unit known here.
func Parse(text string) (u Unit, ok bool) {
	key := normal(text)
	if key == "" {
		return Unit{}, false
	}
	for _, e := range table() {
		if slices.Contains(e.spellings, key) {
			return e.Unit, true
		}
	}
	low := strings.ToLower(key)
	for _, e := range table() {
		for _, s := range e.spellings {
			if strings.ToLower(s) == low {
				return e.Unit, true
			}
		}
	}
	return Unit{}, false
}

// Symbols lists the symbols of a dimension, for messages.
func Symbols(d Dimension) []string {
	var out []string
	for _, e := range table() {
		if e.Dimension == d {
			out = append(out, e.Symbol)
		}
	}
	return out
}

// normal strips what does not tell units apart.
func normal(text string) string {
	text = strings.TrimSpace(text)
	for len(text) >= 2 && strings.ContainsRune("[({<", rune(text[0])) {
		want := map[byte]byte{'[': ']', '(': ')', '{': '}', '<': '>'}[text[0]]
		if text[len(text)-1] != want || strings.IndexByte(text, want) != len(text)-1 {
			break
		}
		text = strings.TrimSpace(text[1 : len(text)-1])
	}
	return strings.NewReplacer(
		" ", "", "\u00a0", "", "\u202f", "",
		"²", "2", "⁻", "-", "¹", "1", "^", "", "**", "",
		"·", "*", "⋅", "*", "×", "*",
		"µ", "u", "μ", "u", "°", "deg", "º", "deg",
		"_", "/",
	).Replace(text)
}

type entry struct {
	Unit
	spellings []string // after normal
}

// table is the whole of what is known, in the order in which messages list it.
func table() []entry {
	const (
		inch  = 0.0254          // m, exact (international yard and pound agreement, 1959)
		pound = 0.45359237 * G0 // N, the avoirdupois pound of 1959 under G0
	)
	return []entry{
		{Unit{"g", Acceleration, 1, 1, "G0 = 9.80665 m/s² exactly (3rd CGPM 1901)"},
			[]string{"g", "G", "gs", "g's", "gn", "g0"}},
		{Unit{"m/s2", Acceleration, 1, G0, "SI; G0 = 9.80665 m/s² exactly (3rd CGPM 1901)"},
			[]string{"m/s2", "m/s/s", "m/(s*s)", "m/(s2)", "m*s-2", "ms-2", "m/sec2", "m/sec/sec", "mps2", "mpss"}},
		{Unit{"rad/s", AngularVelocity, 1, 1, "SI"},
			[]string{"rad/s", "rad/sec", "r/s", "rad*s-1", "rads-1", "radps", "radians/s", "radians/sec", "radian/s", "rad/second"}},
		{Unit{"deg/s", AngularVelocity, math.Pi, 180, "1 degree = π/180 rad (SI brochure, table 8)"},
			[]string{"deg/s", "deg/sec", "dps", "degs-1", "deg*s-1", "degree/s", "degrees/s", "degree/sec", "degrees/sec", "deg/second"}},
		{Unit{"krad/s", AngularVelocity, 1000, 1, "SI prefix"}, []string{"krad/s"}},
		{Unit{"rpm", AngularVelocity, math.Pi, 30, "one turn = 2π rad, one minute = 60 s"},
			[]string{"rpm", "1/min", "r/min", "rev/min"}},
		{Unit{"s", Time, 1, 1, "SI"}, []string{"s", "sec", "secs", "second", "seconds", "sek"}},
		{Unit{"ms", Time, 1, 1000, "SI prefix"}, []string{"ms", "msec", "msecs", "millisec", "millisecond", "milliseconds"}},
		{Unit{"us", Time, 1, 1e6, "SI prefix"}, []string{"us", "usec", "usecs", "microsec", "microsecond", "microseconds"}},
		{Unit{"kPa", Pressure, 1, 1, "SI prefix"}, []string{"kPa", "kPag", "kPa(g)"}},
		{Unit{"Pa", Pressure, 1, 1000, "SI"}, []string{"Pa"}},
		{Unit{"MPa", Pressure, 1000, 1, "SI prefix"}, []string{"MPa"}},
		{Unit{"bar", Pressure, 100, 1, "1 bar = 100 kPa (SI brochure)"}, []string{"bar", "barg", "bar(g)"}},
		{Unit{"mbar", Pressure, 1, 10, "1 mbar = 0.1 kPa"}, []string{"mbar", "hPa"}},
		{Unit{"psi", Pressure, pound, inch * inch * 1000, "1 lbf/in²: pound 0.45359237 kg, inch 0.0254 m (1959), G0"},
			[]string{"psi", "psig", "psi(g)", "lbf/in2", "lb/in2"}},
		{Unit{"N", Force, 1, 1, "SI"}, []string{"N", "newton", "newtons"}},
		{Unit{"kN", Force, 1000, 1, "SI prefix"}, []string{"kN"}},
		{Unit{"lbf", Force, pound, 1, "pound 0.45359237 kg (1959) times G0"}, []string{"lbf", "lb", "lbs"}},
		{Unit{"m/s", Speed, 1, 1, "SI"}, []string{"m/s", "m/sec", "m*s-1", "ms-1", "mps"}},
		{Unit{"ft/s", Speed, 0.3048, 1, "1 ft = 0.3048 m (1959)"}, []string{"ft/s", "fps", "ft/sec", "feet/s", "feet/sec"}},
		{Unit{"km/h", Speed, 1, 3.6, "1 h = 3600 s"}, []string{"km/h", "kph", "kmh", "km/hr"}},
		{Unit{"V", Raw, 1, 1, "sensor output"}, []string{"V", "volt", "volts"}},
		{Unit{"mV", Raw, 1, 1000, "sensor output"}, []string{"mV", "millivolt", "millivolts"}},
		{Unit{"count", Raw, 1, 1, "converter output"}, []string{"count", "counts", "cnt", "cts", "lsb", "adc", "digits"}},
	}
}

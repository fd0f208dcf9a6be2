// Package shock computes shock response spectra: the largest response of
// single-degree-of-freedom systems of many natural frequencies, all of one damping,
// whose base moves with the recorded acceleration.
//
// The response is that of the ramp-invariant recursion: exact for a base
// acceleration that is a straight line between samples (Smallwood 1981, An improved
// recursive formula for calculating shock response spectra, Shock and Vibration
// Bulletin 51(2); ISO 18431-4:2007; neither confirmed against print). It is carried
// on here as relative displacement and velocity instead of as a difference
// equation of second order. The two are the same numbers; but where the natural
// frequency is far below the sample rate the coefficients of the difference
// equation are small differences of large numbers and its poles crowd at 1, and
// the state does not suffer from either.
package shock

import (
	"fmt"
	"math"

	"thudbook/metrics/unit"
)

// Settings of a spectrum.
type Settings struct {
	FrequenciesHz []float64 // natural frequencies, each above 0 and at most half the sample rate; LogSpaced makes them
	DampingRatio  float64   // share of critical damping, 0 ≤ ζ < 1; Damping makes it of Q. Common: 0.05
}

// Damping is the damping ratio of a quality factor Q: ζ = 1/(2Q).
func Damping(q float64) float64 { return 1 / (2 * q) }

// Extremes are the largest response to either side; both are ≥ 0.
type Extremes struct{ Positive, Negative float64 }

// Largest is the larger of the two.
func (e Extremes) Largest() float64 { return max(e.Positive, e.Negative) }

func (e *Extremes) include(v float64) {
	if v > e.Positive {
		e.Positive = v
	}
	if -v > e.Negative {
		e.Negative = -v
	}
}

// Point is the spectrum at one natural frequency. Primary is while the record
// lasts, residual is after its end.
type Point struct {
	FrequencyHz float64
	// Absolute acceleration of the mass, unit of the record.
	Primary, Residual Extremes
	// Relative displacement times (2πf)², unit of the record: the equivalent static
	// acceleration, from which pseudo-velocity comes. Without damping it is the
	// absolute acceleration with its sign turned.
	StaticPrimary, StaticResidual Extremes
}

// Maximax is the largest absolute acceleration to either side, whenever it occurs.
func (p *Point) Maximax() float64 { return max(p.Primary.Largest(), p.Residual.Largest()) }

// PseudoVelocityMS is 2πf times the largest relative displacement, in m/s, for a
// record in g.
func (p *Point) PseudoVelocityMS() float64 {
	static := max(p.StaticPrimary.Largest(), p.StaticResidual.Largest())
	return unit.G0 * static / (2 * math.Pi * p.FrequencyHz)
}

// RelativeDisplacementM is the largest relative displacement in m, for a record in g.
func (p *Point) RelativeDisplacementM() float64 {
	return p.PseudoVelocityMS() / (2 * math.Pi * p.FrequencyHz)
}

// Spectrum is the outcome for one record.
type Spectrum struct {
	DampingRatio float64
	Points       []Point // in the order of the frequencies asked for
	Warnings     []Warning
}

// Compute finds the spectrum of an acceleration record, evenly sampled at rateHz.
// The base is at rest before the first sample and has no acceleration after the
// last: the record reaches its first value, and zero after its last, along a
// straight line of one sample step. Take the offset off first.
//
// Primary extremes are those at the samples, as ISO 18431-4 has it; between two
// samples the response can be higher: the largest sample lies below it by up to the
// share of SamplingError. Residual
// extremes are exact: the free response after the end is known in closed form.
//
// The work is proportional to samples times frequencies; nothing is allocated for
// a sample. Errors: *Refused, for a record or settings that have no spectrum.
func Compute(acceleration []float64, rateHz float64, s Settings) (Spectrum, error) {
	if err := check(acceleration, rateHz, s); err != nil {
		return Spectrum{}, err
	}
	out := Spectrum{DampingRatio: s.DampingRatio, Points: make([]Point, len(s.FrequenciesHz)),
		Warnings: warnings(acceleration, rateHz, s)}
	for i, f := range s.FrequenciesHz {
		o := design(f, s.DampingRatio, rateHz)
		out.Points[i] = o.run(acceleration)
		out.Points[i].FrequencyHz = f
	}
	return out, nil
}

// Refused says why there is no spectrum of what was given; its text is for people.
type Refused struct{ Text string }

func (r *Refused) Error() string { return "shock spectrum: " + r.Text }

func refuse(format string, args ...any) error {
	return &Refused{fmt.Sprintf(format, args...)}
}

func check(acceleration []float64, rateHz float64, s Settings) error {
	if len(acceleration) == 0 {
		return refuse("the record has no samples")
	}
	if !(rateHz > 0) || math.IsInf(rateHz, 1) {
		return refuse("a sample rate of %g Hz; it must be above 0", rateHz)
	}
	if !(s.DampingRatio >= 0 && s.DampingRatio < 1) {
		return refuse("a damping ratio of %g; it must be at least 0 and below 1", s.DampingRatio)
	}
	if len(s.FrequenciesHz) == 0 {
		return refuse("no natural frequencies are given")
	}
	for _, f := range s.FrequenciesHz {
		if !(f > 0 && f <= rateHz/2) {
			return refuse("a natural frequency of %g Hz; it must be above 0 and at most %g Hz, half the sample rate", f, rateHz/2)
		}
	}
	for i, a := range acceleration {
		if a-a != 0 {
			return refuse("sample %d is not a finite number; leave the channel out, or cut the record before it", i+1)
		}
	}
	return nil
}

// LogSpaced gives natural frequencies from one to another with perOctave steps an
// octave, both ends included; the last step may be shorter.
func LogSpaced(fromHz, toHz float64, perOctave int) ([]float64, error) {
	if !(fromHz > 0 && toHz >= fromHz) || math.IsInf(toHz, 1) {
		return nil, refuse("natural frequencies from %g to %g Hz; give a start above 0 and an end not below it", fromHz, toHz)
	}
	if perOctave < 1 || perOctave > 96 {
		return nil, refuse("%d frequencies an octave; give 1 to 96", perOctave)
	}
	steps := int(math.Ceil(math.Log2(toHz/fromHz)*float64(perOctave) - 1e-9))
	out := make([]float64, 0, steps+1)
	for i := range steps {
		out = append(out, fromHz*math.Exp2(float64(i)/float64(perOctave)))
	}
	return append(out, toHz), nil
}

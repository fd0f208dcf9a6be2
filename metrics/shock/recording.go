package shock

import (
	"context"
	"fmt"
	"math"

	"thudbook/metrics/signal"
)

// Request says which spectra of a recording are wanted. A zero field means its default.
type Request struct {
	Q         float64 // quality factor, above 0.5; default DefaultQ
	FromHz    float64 // lowest natural frequency; default DefaultFromHz, higher for a record shorter than its period
	ToHz      float64 // highest natural frequency; default: see Of
	PerOctave int     // natural frequencies an octave, 1 to 96; default DefaultPerOctave
}

// Defaults of a request: common practice, no published source.
const (
	DefaultQ         = 10 // ζ = 0.05
	DefaultFromHz    = 10.0
	DefaultPerOctave = 6
	mostDefaultToHz  = 10000.0
)

// Spectra are those of the linear acceleration channels of one recording, all over
// the same natural frequencies.
type Spectra struct {
	Q             float64
	DampingRatio  float64
	PerOctave     int
	FrequenciesHz []float64
	Curves        []Curve
	LeftOut       []LeftOut
}

// Curve is the spectrum of one channel, in g.
type Curve struct {
	Channel    string
	Axis       signal.Axis
	PositionMM [3]float64 // of the motion, from the centre of gravity, head axes
	CFC        int        // class that the channel was filtered with; 0: none
	Spectrum
}

// LeftOut is a channel without a spectrum, and why.
type LeftOut struct{ Channel, Why string }

// Of computes the spectrum of each linear acceleration channel of a recording,
// offset taken off, in g. A spectrum belongs to one axis: the base moves along it,
// and the mass answers along it. There is none of the resultant, whose magnitude
// has lost its sign and is the motion of nothing; Largest gives the largest of the
// axes at each natural frequency.
//
// classes holds the CFC of each filtered channel by its name. Without ToHz the
// spectra end at a tenth of the sample rate (10 kHz at most), or at the lowest class
// of the channels if that is lower: above it the filter has taken away what the
// spectrum would show.
//
// Errors: *Refused for no channel of linear acceleration, uneven times, settings that
// have no spectrum; the cause of a context that ended. A channel that cannot be used is named in LeftOut.
func Of(ctx context.Context, rec *signal.Recording, classes map[string]int, r Request) (Spectra, error) {
	var channels []*signal.Channel
	lowest := math.Inf(1)
	for i := range rec.Channels {
		if c := &rec.Channels[i]; c.Measures == signal.LinearAcceleration {
			channels = append(channels, c)
			if class := classes[c.Name]; class > 0 {
				lowest = min(lowest, float64(class))
			}
		}
	}
	switch {
	case len(channels) == 0:
		return Spectra{}, refuse("the channel map has no channel of linear acceleration")
	case rec.TimeS != nil:
		return Spectra{}, refuse("the times of the record are uneven; give resample_hz under [processing] of the channel map")
	}
	out, err := r.filled(rec.RateHz, rec.Len(), lowest)
	if err != nil {
		return Spectra{}, err
	}
	settings := Settings{FrequenciesHz: out.FrequenciesHz, DampingRatio: out.DampingRatio}
	for _, c := range channels {
		if err := ctx.Err(); err != nil {
			return Spectra{}, context.Cause(ctx)
		}
		if bad := firstBad(c.Values); bad >= 0 {
			out.LeftOut = append(out.LeftOut, LeftOut{c.Name, fmt.Sprintf("sample %d could not be read", bad+1)})
			continue
		}
		s, err := Compute(c.Values, rec.RateHz, settings)
		if err != nil {
			return Spectra{}, err
		}
		k := Curve{Channel: c.Name, Axis: c.Axis, PositionMM: c.PositionMM, CFC: classes[c.Name], Spectrum: s}
		if top := out.FrequenciesHz[len(out.FrequenciesHz)-1]; k.CFC > 0 && top > float64(k.CFC)*(1+1e-9) {
			k.Warnings = append(k.Warnings, Warning{AboveClass, fmt.Sprintf(
				"Above %d Hz the filter of CFC %d lowers the record, and the spectrum with it. End the spectrum there, or compute it of the unfiltered record.", k.CFC, k.CFC)})
		}
		out.Curves = append(out.Curves, k)
	}
	return out, nil
}

// filled checks a request and makes its natural frequencies.
func (r Request) filled(rateHz float64, samples int, lowestClass float64) (Spectra, error) {
	if r.Q == 0 {
		r.Q = DefaultQ
	}
	if r.FromHz == 0 {
		r.FromHz = max(DefaultFromHz, rateHz/float64(samples))
	}
	if r.PerOctave == 0 {
		r.PerOctave = DefaultPerOctave
	}
	if r.ToHz == 0 {
		r.ToHz = max(r.FromHz, min(rateHz/ratePerFrequency, mostDefaultToHz, lowestClass))
	}
	if !(r.Q > 0.5) || math.IsInf(r.Q, 1) {
		return Spectra{}, refuse("a quality factor Q of %g; give more than 0.5, commonly 10", r.Q)
	}
	if samples == 0 {
		return Spectra{}, refuse("the record has no samples")
	}
	if !(rateHz > 0) || r.ToHz > rateHz/2 {
		return Spectra{}, refuse("natural frequencies up to %g Hz; the record of %g samples a second reaches %g Hz at most", r.ToHz, rateHz, rateHz/2)
	}
	f, err := LogSpaced(r.FromHz, r.ToHz, r.PerOctave)
	if err != nil {
		return Spectra{}, err
	}
	if len(f) > MostFrequencies {
		return Spectra{}, refuse("%d natural frequencies; the most is %d, so begin higher or take fewer an octave", len(f), MostFrequencies)
	}
	return Spectra{Q: r.Q, DampingRatio: Damping(r.Q), PerOctave: r.PerOctave, FrequenciesHz: f}, nil
}

// MostFrequencies bounds the natural frequencies of one request: 20 octaves at 96.
const MostFrequencies = 2000

// Note is a warning with the channels that it is about.
type Note struct {
	Channels []string
	Warning
}

// Notes are the warnings of all curves, one that holds for several channels once.
func (s *Spectra) Notes() []Note {
	var out []Note
	for i := range s.Curves {
	warnings:
		for _, w := range s.Curves[i].Warnings {
			for k := range out {
				if out[k].Warning == w {
					out[k].Channels = append(out[k].Channels, s.Curves[i].Channel)
					continue warnings
				}
			}
			out = append(out, Note{[]string{s.Curves[i].Channel}, w})
		}
	}
	return out
}

func firstBad(v []float64) int {
	for i, x := range v {
		if x-x != 0 {
			return i
		}
	}
	return -1
}

// Largest is the largest maximax of all curves at frequency i, and its curve; -1
// without curves.
func (s *Spectra) Largest(i int) (g float64, curve int) {
	curve = -1
	for k := range s.Curves {
		if m := s.Curves[k].Points[i].Maximax(); curve < 0 || m > g {
			g, curve = m, k
		}
	}
	return g, curve
}

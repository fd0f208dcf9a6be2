package present

import (
	"iter"
	"strconv"

	"thudbook/metrics/shock"
)

// SpectraJSON is what scripts get of shock response spectra; add, never rename.
type SpectraJSON struct {
	Channels []SpectrumJSON `json:"channels"`
	LeftOut  []LeftOutJSON  `json:"left_out,omitempty"`
}

// SpectrumJSON is the spectrum of one channel.
type SpectrumJSON struct {
	Channel  string            `json:"channel"`
	Axis     string            `json:"axis,omitempty"`
	CFC      int               `json:"cfc"` // 0: unfiltered
	Points   []SpectrumPoint   `json:"points"`
	Warnings []SpectrumWarning `json:"warnings,omitempty"`
}

// SpectrumPoint is one natural frequency. Positive and negative are the largest
// absolute acceleration of the mass along the axis and against it, both ≥ 0;
// primary while the record lasts, residual after it.
type SpectrumPoint struct {
	FrequencyHz       float64 `json:"frequency_hz"`
	MaximaxG          float64 `json:"maximax_g"`
	PrimaryPositiveG  float64 `json:"primary_positive_g"`
	PrimaryNegativeG  float64 `json:"primary_negative_g"`
	ResidualPositiveG float64 `json:"residual_positive_g"`
	ResidualNegativeG float64 `json:"residual_negative_g"`
	PseudoVelocityMS  float64 `json:"pseudo_velocity_m_s"`
	DisplacementM     float64 `json:"relative_displacement_m"`
}

// SpectrumWarning is a reason to look twice.
type SpectrumWarning struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// LeftOutJSON is a channel without a spectrum.
type LeftOutJSON struct {
	Channel string `json:"channel"`
	Why     string `json:"why"`
}

// SpectraOf puts spectra into the form for scripts.
func SpectraOf(s *shock.Spectra) SpectraJSON {
	out := SpectraJSON{Channels: []SpectrumJSON{}}
	for i := range s.Curves {
		c := &s.Curves[i]
		k := SpectrumJSON{Channel: c.Channel, Axis: c.Axis.String(), CFC: c.CFC, Points: make([]SpectrumPoint, len(c.Points))}
		for n := range c.Points {
			k.Points[n] = spectrumPoint(&c.Points[n])
		}
		for _, w := range c.Warnings {
			k.Warnings = append(k.Warnings, SpectrumWarning{string(w.Code), w.Text})
		}
		out.Channels = append(out.Channels, k)
	}
	for _, l := range s.LeftOut {
		out.LeftOut = append(out.LeftOut, LeftOutJSON(l))
	}
	return out
}

func spectrumPoint(p *shock.Point) SpectrumPoint {
	return SpectrumPoint{
		FrequencyHz: p.FrequencyHz, MaximaxG: p.Maximax(),
		PrimaryPositiveG: p.Primary.Positive, PrimaryNegativeG: p.Primary.Negative,
		ResidualPositiveG: p.Residual.Positive, ResidualNegativeG: p.Residual.Negative,
		PseudoVelocityMS: p.PseudoVelocityMS(), DisplacementM: p.RelativeDisplacementM(),
	}
}

// SpectraHead names the columns of SpectraRows.
func SpectraHead() []string {
	return []string{"channel", "axis", "cfc", "q", "frequency_hz", "maximax_g", "primary_positive_g", "primary_negative_g",
		"residual_positive_g", "residual_negative_g", "pseudo_velocity_m_s", "relative_displacement_m"}
}

// SpectraRows gives spectra as rows of delimited text, with all digits.
func SpectraRows(s *shock.Spectra) iter.Seq[[]string] {
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	return func(yield func([]string) bool) {
		for i := range s.Curves {
			c := &s.Curves[i]
			for n := range c.Points {
				p := spectrumPoint(&c.Points[n])
				row := []string{c.Channel, c.Axis.String(), strconv.Itoa(c.CFC), number(s.Q)}
				for _, v := range []float64{p.FrequencyHz, p.MaximaxG, p.PrimaryPositiveG, p.PrimaryNegativeG, p.ResidualPositiveG, p.ResidualNegativeG, p.PseudoVelocityMS, p.DisplacementM} {
					row = append(row, number(v))
				}
				if !yield(row) {
					return
				}
			}
		}
	}
}

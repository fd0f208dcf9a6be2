package score

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/unit"
)

// Calibration is what a certificate says of the sensor at one position of the map.
type Calibration struct {
	ID          string  `json:"id,omitempty"` // the caller's, handed back
	Position    string  `json:"position"`     // the column of the map's channel
	Sensor      string  `json:"sensor,omitempty"`
	Certificate string  `json:"certificate,omitempty"`
	Sensitivity float64 `json:"sensitivity,omitempty"` // 0: not stated
	// SensitivityUnit is "mV/g", "mV/(m/s2)", "V/kPa", "count/N" …
	SensitivityUnit            string  `json:"sensitivity_unit,omitempty"`
	ExpandedUncertaintyPercent float64 `json:"expanded_uncertainty_percent,omitempty"` // k = 2; 0: not stated

	// AssumedSensitivity, when it is not 0, says that Sensitivity is a correction: this
	// one, in the same unit, was believed when the shot was fired, and what scaled the
	// channel in the acquisition is taken to have used it.
	AssumedSensitivity float64 `json:"assumed_sensitivity,omitempty"`
	// SeveralAxes says that the sensor measures at other positions too: a sensitivity is
	// that of one axis, and nothing says of which.
	SeveralAxes bool `json:"several_axes,omitempty"`
	// Correction names what corrected it; the caller's, handed back.
	Correction string `json:"correction,omitempty"`
}

// UsedCalibration is a certificate and what was taken of it.
type UsedCalibration struct {
	Calibration
	TookSensitivity bool `json:"took_sensitivity"`
	TookUncertainty bool `json:"took_uncertainty"`
}

// sameSensitivity is the relative difference below which two sensitivities are one
// number, printed with few digits. Common practice, no published source.
const sameSensitivity = 5e-4

// inForce puts the certificates into a copy of the map. A sensitivity serves channels
// of raw values (V, mV, count); values that the acquisition has scaled already cannot
// be scaled anew, since nothing says by what they were. Where map and certificate
// differ, the certificate holds: it belongs to the sensor that was mounted when the
// shot was fired, the map may be older. Only where a certificate is a correction of
// another one is it known by what scaled values were scaled. A sensitivity that differs is flagged; an
// uncertainty that differs is not, that of a map being a general one. A guessed map
// takes none.
func inForce(m *chanmap.Map, all []Calibration, flags *flagSet) (*chanmap.Map, []UsedCalibration) {
	if m == nil || len(all) == 0 {
		return m, nil
	}
	out := *m
	out.Channels = slices.Clone(m.Channels)
	var used []UsedCalibration
	for _, k := range all {
		i := slices.IndexFunc(out.Channels, func(ch chanmap.Channel) bool {
			return strings.EqualFold(strings.TrimSpace(ch.Column), strings.TrimSpace(k.Position))
		})
		if i < 0 {
			continue // a ram, a neck, or a sensor that this map does not use
		}
		u := UsedCalibration{Calibration: k}
		u.apply(&out.Channels[i], flags)
		used = append(used, u)
	}
	return &out, used
}

// apply takes what the channel can use.
func (u *UsedCalibration) apply(ch *chanmap.Channel, flags *flagSet) {
	name := u.Certificate
	if name == "" {
		name = "without number"
	}
	if p := u.ExpandedUncertaintyPercent; p > 0 && p <= 100 {
		ch.ExpandedUncertaintyPercent, u.TookUncertainty = p, true
	}
	raw, ok := unit.Parse(ch.Unit)
	if u.Sensitivity == 0 || !ok || chanmap.Dimension(ch.Measures) == unit.Raw {
		return
	}
	if u.SeveralAxes {
		if raw.Dimension == unit.Raw || u.AssumedSensitivity != 0 {
			flags.add(CalibrationConflict, ch.Column, "certificate %s gives one sensitivity, and its sensor measures at several positions, so nothing says of which axis it is; what the map says is used", name)
		}
		return
	}
	if raw.Dimension != unit.Raw {
		u.correctScaled(ch, name, flags)
		return
	}
	s, why := sensitivityIn(math.Abs(u.Sensitivity), u.SensitivityUnit, raw, chanmap.Dimension(ch.Measures))
	if why != "" {
		flags.add(CalibrationConflict, ch.Column, "the sensitivity of certificate %s cannot be applied: %s; that of the map is used", name, why)
		return
	}
	if u.Sensitivity < 0 {
		flags.add(CalibrationConflict, ch.Column, "certificate %s gives a negative sensitivity; its size is used, and the sign of the map's axis holds", name)
	}
	if was := ch.Sensitivity; was > 0 && math.Abs(s-was) > sameSensitivity*was {
		flags.add(CalibrationConflict, ch.Column, "the map gives %.6g %s for one %s, certificate %s %.6g; the certificate holds, since it belongs to the sensor that was mounted",
			was, raw.Symbol, unit.Base(chanmap.Dimension(ch.Measures)).Symbol, name, s)
	}
	ch.Sensitivity, u.TookSensitivity = s, true
	if u.AssumedSensitivity != 0 {
		u.flagCorrected(ch, name, flags)
	}
}

// correctScaled divides out by how much a channel reads high that the acquisition
// scaled with a sensitivity which turned out wrong.
func (u *UsedCalibration) correctScaled(ch *chanmap.Channel, name string, flags *flagSet) {
	ratio := u.Sensitivity / u.AssumedSensitivity
	if u.AssumedSensitivity == 0 || !(ratio > 0) || math.IsInf(ratio, 0) {
		return
	}
	ch.ReadsHigh, u.TookSensitivity = ratio, true
	u.flagCorrected(ch, name, flags)
}

func (u *UsedCalibration) flagCorrected(ch *chanmap.Channel, name string, flags *flagSet) {
	flags.add(SensitivityCorrected, ch.Column, "the sensitivity was %.6g %s when the shot was fired and not the %.6g of certificate %s; the values are corrected by %+.2f %%",
		u.Sensitivity, u.SensitivityUnit, u.AssumedSensitivity, name, 100*(u.AssumedSensitivity/u.Sensitivity-1))
}

// sensitivityIn turns a sensitivity in "mV/g" or the like into how many of the raw
// unit make one base unit of the dimension, as the map has it; why says what is wrong.
func sensitivityIn(value float64, text string, raw unit.Unit, d unit.Dimension) (sensitivity float64, why string) {
	over, under, ok := strings.Cut(text, "/")
	from, known := unit.Parse(over)
	if !ok || !known || from.Dimension != unit.Raw {
		return 0, fmt.Sprintf("%q is no output of a sensor for a measured quantity, such as mV/g", text)
	}
	if (from.Symbol == "count") != (raw.Symbol == "count") {
		return 0, fmt.Sprintf("it is in %s, the channel in %s", text, raw.Symbol)
	}
	per, known := unit.Parse(under)
	if !known || per.Dimension != d {
		return 0, fmt.Sprintf("%q is not for %s", text, d)
	}
	s := raw.FromBase(from.ToBase(value)) / per.ToBase(1)
	if !(s > 0) || math.IsInf(s, 0) {
		return 0, fmt.Sprintf("%g %s is no sensitivity", value, text)
	}
	return s, ""
}

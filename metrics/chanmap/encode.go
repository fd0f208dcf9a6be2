package chanmap

import (
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Encode writes a map as TOML with a comment for each table, for people to
// correct. Parse reads it back as the same map.
func Encode(w io.Writer, m Map) error {
	var b strings.Builder
	b.WriteString("# Channel map: which column of the acquisition file is which channel.\n")
	pair(&b, "name", m.Name, m.Name != "")
	f := m.Format
	b.WriteString("\n# What is left out here is found out from each file.\n[format]\n")
	pair(&b, "kind", f.Kind, f.Kind != "")
	pair(&b, "delimiter", f.Delimiter, f.Delimiter != "")
	pair(&b, "decimal", f.Decimal, f.Decimal != "")
	pair(&b, "encoding", f.Encoding, f.Encoding != "")
	whole64(&b, "header_rows", f.HeaderRows, f.HeaderRows != 0)
	k := m.Complete
	if k != (Complete{}) {
		b.WriteString("\n# When a watched file counts as finished: quiet, rows, footer or marker.\n[complete]\n")
		pair(&b, "rule", k.Rule, k.Rule != "")
		whole64(&b, "quiet_ms", k.QuietMS, k.QuietMS != 0)
		whole64(&b, "rows", k.Rows, k.Rows != 0)
		pair(&b, "footer", k.Footer, k.Footer != "")
		pair(&b, "marker", k.Marker, k.Marker != "")
	}
	if describes(f.Kind) {
		b.WriteString("\n# The file holds its own times; rate_hz = samples per second would hold over them.\n[time]\n")
	} else {
		b.WriteString("\n# A time column with its unit (s, ms, us), or rate_hz = samples per second.\n[time]\n")
	}
	pair(&b, "column", m.Time.Column, m.Time.Column != "")
	pair(&b, "unit", m.Time.Unit, m.Time.Unit != "")
	real64(&b, "rate_hz", m.Time.RateHz, m.Time.RateHz != 0)
	if m.Processing != (Processing{}) {
		b.WriteString("\n# The mean over the first milliseconds of the record is taken off; uneven times are\n# put on resample_hz even ones a second, if that is given.\n[processing]\n")
		real64(&b, "baseline_ms", m.Processing.BaselineMS, m.Processing.BaselineMS != 0)
		real64(&b, "resample_hz", m.Processing.ResampleHz, m.Processing.ResampleHz != 0)
	}
	if m.Ram.MassKG != 0 {
		b.WriteString("\n# Moving mass, for the energy.\n[ram]\n")
		real64(&b, "mass_kg", m.Ram.MassKG, true)
	}
	b.WriteString("\n# One table a channel. Axes after SAE J211: x forward, y to the right, z down;\n" +
		"# \"-x\" turns the sign round. cfc: filter class 60, 180, 600, 1000, or 0 for unfiltered;\n" +
		"# laboratories differ on angular velocity, so say which one is meant.\n" +
		"# full_scale is in the channel's unit; positions are from the centre of gravity.\n")
	for _, ch := range m.Channels {
		channel(&b, ch)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func channel(b *strings.Builder, ch Channel) {
	b.WriteString("\n[[channel]]\n")
	pair(b, "column", ch.Column, true)
	pair(b, "measures", ch.Measures, true)
	pair(b, "axis", ch.Axis, ch.Axis != "")
	pair(b, "unit", ch.Unit, ch.Unit != "")
	real64(b, "sensitivity", ch.Sensitivity, ch.Sensitivity != 0)
	whole64(b, "cfc", ch.CFC, ch.CFC != DefaultCFC(ch.Measures) || ch.CFC != 0)
	real64(b, "full_scale", ch.FullScale, ch.FullScale != 0)
	real64(b, "expanded_uncertainty_percent", ch.ExpandedUncertaintyPercent, ch.ExpandedUncertaintyPercent != 0)
	real64(b, "cross_axis_percent", ch.CrossAxisPercent, ch.CrossAxisPercent != 0)
	if ch.PositionMM != [3]float64{} {
		fmt.Fprintf(b, "position_mm = [%s, %s, %s]\n", float(ch.PositionMM[0]), float(ch.PositionMM[1]), float(ch.PositionMM[2]))
	}
	real64(b, "flag_mm", ch.FlagMM, ch.FlagMM != 0)
	pair(b, "sensor", ch.Sensor, ch.Sensor != "")
}

func pair(b *strings.Builder, key, value string, write bool) {
	if write {
		fmt.Fprintf(b, "%s = %s\n", key, quote(value))
	}
}

func whole64(b *strings.Builder, key string, value int, write bool) {
	if write {
		fmt.Fprintf(b, "%s = %d\n", key, value)
	}
}

func real64(b *strings.Builder, key string, value float64, write bool) {
	if write {
		fmt.Fprintf(b, "%s = %s\n", key, float(value))
	}
}

// float keeps a decimal point, as TOML tells whole numbers from others.
func float(v float64) string {
	s := strconv.FormatFloat(v, 'g', -1, 64)
	if !strings.ContainsAny(s, ".e") {
		s += ".0"
	}
	return s
}

// quote writes a TOML basic string.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\uFFFD") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

package chanmap

import (
	"fmt"
	"slices"
	"strings"

	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// DefaultCFC is the filter class of a quantity when the map names none: 1000
// for head linear acceleration (SAE J211-1, not confirmed against print), 180
// for angular velocity, 0 (unfiltered) for the rest. Laboratories differ on
// angular velocity: 60, 155, 180 and 1000 are all found in papers, so a map
// should say which one is meant.
func DefaultCFC(measures string) int {
	switch signal.Quantity(measures) {
	case signal.LinearAcceleration:
		return 1000
	case signal.AngularVelocity:
		return 180
	}
	return 0
}

// Dimension is the dimension that a quantity's unit must have; Raw for a light
// gate, whose trace is only looked at for its edges.
func Dimension(measures string) unit.Dimension {
	switch signal.Quantity(measures) {
	case signal.LinearAcceleration:
		return unit.Acceleration
	case signal.AngularVelocity:
		return unit.AngularVelocity
	case signal.Pressure:
		return unit.Pressure
	case signal.Force:
		return unit.Force
	}
	return unit.Raw
}

func quantities() []string {
	return []string{
		string(signal.LinearAcceleration), string(signal.AngularVelocity), string(signal.LightGate),
		string(signal.Pressure), string(signal.Force),
	}
}

func classes() []int { return []int{0, 60, 155, 180, 600, 1000} }

// oneOf reports a text that is not in the list; an empty text is fine.
func (c *checker) oneOf(key, value string, known ...string) {
	if value != "" && !slices.Contains(known, value) {
		c.bad(key, fmt.Sprintf("%q is not known", value), `write one of "`+strings.Join(known, `", "`)+`"`)
	}
}

func (c *checker) atLeast(key string, value, low float64) {
	if value < low {
		c.bad(key, fmt.Sprintf("%g is less than %g", value, low), "correct the value")
	}
}

// check looks at the meaning of the values.
func (c *checker) check(m *Map) {
	f := m.Format
	c.oneOf("format.kind", f.Kind, "delimited", "iso13499", "uff58", "wav")
	c.oneOf("format.delimiter", f.Delimiter, ",", ";", "\t", "|", " ")
	c.oneOf("format.decimal", f.Decimal, ".", ",")
	c.oneOf("format.encoding", f.Encoding, "utf-8", "utf-16le", "utf-16be", "latin1")
	c.atLeast("format.header_rows", float64(f.HeaderRows), 0)
	c.complete(m.Complete)
	c.rowsOf(f.Kind, m.Complete)
	c.time(m.Time, describes(f.Kind))
	c.atLeast("processing.baseline_ms", m.Processing.BaselineMS, 0)
	if hz := m.Processing.ResampleHz; hz < 0 || hz > 1e9 {
		c.bad("processing.resample_hz", fmt.Sprintf("%g Hz is outside 0 to 1e9", hz), "write samples per second")
	}
	c.atLeast("ram.mass_kg", m.Ram.MassKG, 0)
	if len(m.Channels) == 0 && len(c.faults) == 0 {
		c.bad("channel", "no channel is bound", "add a [[channel]] table for each column to be used")
	}
	seen := map[string]int{}
	for i := range m.Channels {
		c.channel(i+1, &m.Channels[i])
		col := m.Channels[i].Column
		if first, twice := seen[col]; twice && col != "" {
			c.bad(fmt.Sprintf("channel[%d].column", i+1), fmt.Sprintf("column %q is bound already by channel %d", col, first), "bind each column once")
		} else {
			seen[col] = i + 1
		}
	}
}

func (c *checker) complete(k Complete) {
	c.oneOf("complete.rule", k.Rule, "quiet", "rows", "footer", "marker")
	c.atLeast("complete.quiet_ms", float64(k.QuietMS), 0)
	if k.QuietMS > 600_000 {
		c.bad("complete.quiet_ms", "more than ten minutes", "write milliseconds, 1500 is usual")
	}
	c.atLeast("complete.rows", float64(k.Rows), 0)
	if k.Rule == "rows" && k.Rows == 0 {
		c.bad("complete.rows", "the rule needs the number of data rows", "add rows = the number of rows of a finished file")
	}
	if k.Rule == "footer" && strings.TrimSpace(k.Footer) == "" {
		c.bad("complete.footer", "the rule needs the text of the last line", `add footer = "…"`)
	}
	if k.Rule == "marker" && k.Marker == "" {
		c.bad("complete.marker", "the rule needs the ending of the marker file", `add marker = ".done"`)
	}
	if strings.ContainsAny(k.Marker, `/\`) {
		c.bad("complete.marker", "the ending holds a path separator", "write only the ending that is added to the file's name")
	}
}

// describes says whether files of a kind hold their own times.
func describes(kind string) bool { return kind != "" && kind != "delimited" }

// rowsOf refuses rules that look for rows and lines where there are none.
func (c *checker) rowsOf(kind string, k Complete) {
	if k.Rule == "rows" && describes(kind) || k.Rule == "footer" && (kind == "iso13499" || kind == "wav") {
		c.bad("complete.rule", fmt.Sprintf("the rule %q does not go with files of kind %q", k.Rule, kind), `write "quiet" or "marker"`)
	}
}

// time checks the time base; files that hold their own need none.
func (c *checker) time(t Time, own bool) {
	switch {
	case t.Column == "" && t.RateHz == 0 && own:
	case t.Column == "" && t.RateHz == 0:
		c.bad("time", "neither column nor rate_hz is given", `add column = "…" or rate_hz = … under [time]`)
	case t.Column != "" && t.RateHz != 0:
		c.bad("time.rate_hz", "both a time column and a rate are given", "keep the one that holds")
	case t.RateHz < 0 || t.RateHz > 1e9:
		c.bad("time.rate_hz", fmt.Sprintf("%g Hz is outside 0 to 1e9", t.RateHz), "write samples per second")
	}
	if t.Unit == "" {
		return
	}
	if u, ok := unit.Parse(t.Unit); !ok || u.Dimension != unit.Time {
		c.bad("time.unit", fmt.Sprintf("%q is no unit of time", t.Unit), `write "s", "ms" or "us"`)
	}
}

func (c *checker) channel(n int, ch *Channel) {
	key := func(k string) string { return fmt.Sprintf("channel[%d].%s", n, k) }
	if ch.Column == "" {
		c.bad(key("column"), "no column is named", "add the header text or the column's number, from 1")
	}
	if ch.Measures == "" {
		c.bad(key("measures"), "it is not said what the column measures", `add one of "`+strings.Join(quantities(), `", "`)+`"`)
	}
	c.oneOf(key("measures"), ch.Measures, quantities()...)
	c.oneOf(key("axis"), ch.Axis, "x", "y", "z", "-x", "-y", "-z", "+x", "+y", "+z")
	vector := ch.Measures == string(signal.LinearAcceleration) || ch.Measures == string(signal.AngularVelocity)
	if vector && ch.Axis == "" {
		c.bad(key("axis"), "a "+ch.Measures+" needs its axis", `add axis = "x", "y" or "z" (SAE J211), with - before it if the sensor is turned round`)
	}
	c.unit(key, ch)
	if !slices.Contains(classes(), ch.CFC) {
		c.bad(key("cfc"), fmt.Sprintf("%d is no filter class", ch.CFC), "write 60, 180, 600 or 1000 (SAE J211-1), 155 as some laboratories use for angular velocity, or 0 for unfiltered")
	}
	c.atLeast(key("full_scale"), ch.FullScale, 0)
	c.atLeast(key("flag_mm"), ch.FlagMM, 0)
	if p := ch.ExpandedUncertaintyPercent; p < 0 || p > 100 {
		c.bad(key("expanded_uncertainty_percent"), fmt.Sprintf("%g is outside 0 to 100", p), "write the expanded uncertainty (k = 2) in percent of reading")
	}
	if p := ch.CrossAxisPercent; p < 0 || p > 100 {
		c.bad(key("cross_axis_percent"), fmt.Sprintf("%g is outside 0 to 100", p), "write the largest share of another axis that the sensor may see, in percent")
	}
	if ch.CrossAxisPercent > 0 && ch.Axis == "" {
		c.bad(key("cross_axis_percent"), "only a channel with an axis sees other axes", "remove the key")
	}
	if ch.FlagMM > 0 && ch.Measures != string(signal.LightGate) {
		c.bad(key("flag_mm"), "only a light gate has a flag", "remove the key")
	}
	for _, p := range ch.PositionMM {
		if p < -1000 || p > 1000 {
			c.bad(key("position_mm"), fmt.Sprintf("%g mm is more than a metre from the centre of gravity", p), "write millimetres")
			break
		}
	}
}

// unit checks unit and sensitivity together.
func (c *checker) unit(key func(string) string, ch *Channel) {
	gate := ch.Measures == string(signal.LightGate)
	want := Dimension(ch.Measures)
	if ch.Unit == "" {
		if !gate {
			c.bad(key("unit"), "no unit is given", `add one of "`+strings.Join(unit.Symbols(want), `", "`)+`", or "V", "mV", "count" with sensitivity`)
		}
		return
	}
	u, ok := unit.Parse(ch.Unit)
	switch {
	case !slices.Contains(quantities(), ch.Measures): // reported already
	case !ok:
		c.bad(key("unit"), fmt.Sprintf("%q is no known unit", ch.Unit), `write one of "`+strings.Join(unit.Symbols(want), `", "`)+`", or "V", "mV", "count" with sensitivity`)
	case gate:
		if u.Dimension != unit.Raw {
			c.bad(key("unit"), fmt.Sprintf("a light gate is not measured in %q", ch.Unit), `write "V", "mV" or "count"`)
		}
	case u.Dimension == unit.Raw && ch.Sensitivity == 0:
		c.bad(key("sensitivity"), fmt.Sprintf("the unit %q needs the sensor's sensitivity", ch.Unit), fmt.Sprintf("add sensitivity = how many %s make one %s", u.Symbol, unit.Base(want).Symbol))
	case u.Dimension == unit.Raw && ch.Sensitivity < 0:
		c.bad(key("sensitivity"), "the sensitivity is negative", `write it positive and turn the axis round ("-x")`)
	case u.Dimension != unit.Raw && u.Dimension != want:
		c.bad(key("unit"), fmt.Sprintf("%q is no unit of %s", ch.Unit, ch.Measures), `write one of "`+strings.Join(unit.Symbols(want), `", "`)+`"`)
	case u.Dimension != unit.Raw && ch.Sensitivity != 0:
		c.bad(key("sensitivity"), fmt.Sprintf("values in %q need no sensitivity", ch.Unit), `remove it, or write the unit of the raw values ("V", "mV", "count")`)
	}
}

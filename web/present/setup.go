package present

import (
	"cmp"
	"strconv"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/signal"
	"thudbook/web/chart"
	"thudbook/web/httpkit"
)

// ChannelTrace is the trace of one column of a recording, nil without one.
func ChannelTrace(r *signal.Recording, column string) *chart.Traces {
	for i := range r.Channels {
		c := &r.Channels[i]
		if c.Name != column || !readable(c.Values) {
			continue
		}
		t := &chart.Traces{TimeS: make([]float64, r.Len()), FromTrigger: fromTrigger(r, nil), Channels: []chart.Channel{{Name: c.Name, Label: label(c), Quantity: string(c.Measures), Axis: c.Axis.String(), Unit: c.Unit, Raw: c.Values}}}
		for j := range t.TimeS {
			t.TimeS[j] = r.At(j)
		}
		return t
	}
	return nil
}

func positive(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

func whole(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// ChannelValues fills page.SetupChannelFields(n).
func ChannelValues(n int, ch *chanmap.Channel) map[string]string {
	p := "c" + strconv.Itoa(n) + "_"
	return map[string]string{p + "column": ch.Column, p + "measures": ch.Measures, p + "axis": ch.Axis, p + "unit": ch.Unit, p + "cfc": strconv.Itoa(ch.CFC),
		p + "full_scale": positive(ch.FullScale), p + "sensitivity": positive(ch.Sensitivity), p + "flag_mm": positive(ch.FlagMM),
		p + "uncertainty": positive(ch.ExpandedUncertaintyPercent)}
}

// MapValues fills page.SetupMapFields.
func MapValues(m *chanmap.Map) map[string]string {
	return map[string]string{"time_column": m.Time.Column, "time_unit": m.Time.Unit, "rate_hz": positive(m.Time.RateHz), "baseline_ms": positive(m.Processing.BaselineMS),
		"mass_kg": positive(m.Ram.MassKG), "rule": cmp.Or(m.Complete.Rule, "quiet"), "quiet_ms": whole(m.Complete.QuietMS), "rows": whole(m.Complete.Rows),
		"footer": m.Complete.Footer, "marker": m.Complete.Marker}
}

// NeedColumns notes the rows that measure something and name no column; without
// one they would be left out without a word.
func NeedColumns(f *httpkit.Filled, n int) {
	for i := range n {
		p := "c" + strconv.Itoa(i) + "_"
		if f.Values[p+"measures"] != "" && strings.TrimSpace(f.Values[p+"column"]) == "" {
			f.Fault(p+"column", "Type the head of the column, or its number from 1. To leave this row out, choose “nothing: leave it out” under Measures.")
		}
	}
}

// MapOf reads both forms back, with n rows of channels. What they do not ask
// for stays as in was; a row that measures nothing is left out.
func MapOf(f *httpkit.Filled, was chanmap.Map, n int) chanmap.Map {
	m := was
	m.Time = chanmap.Time{Column: f.Values["time_column"], Unit: f.Values["time_unit"], RateHz: amount(f, "rate_hz")}
	m.Processing.BaselineMS, m.Ram.MassKG = amount(f, "baseline_ms"), amount(f, "mass_kg")
	m.Complete = chanmap.Complete{Rule: f.Values["rule"]}
	switch m.Complete.Rule { // keys of the other rules would be refused
	case "quiet":
		m.Complete.QuietMS = int(f.Count("quiet_ms"))
	case "rows":
		m.Complete.Rows = int(f.Count("rows"))
	case "footer":
		m.Complete.Footer = f.Values["footer"]
	case "marker":
		m.Complete.Marker = f.Values["marker"]
	}
	m.Channels = nil
	for i := range n {
		p := "c" + strconv.Itoa(i) + "_"
		if f.Values[p+"measures"] == "" || strings.TrimSpace(f.Values[p+"column"]) == "" {
			continue
		}
		var ch chanmap.Channel
		if i < len(was.Channels) {
			ch = was.Channels[i]
		}
		ch.Column, ch.Measures, ch.Axis, ch.Unit = f.Values[p+"column"], f.Values[p+"measures"], f.Values[p+"axis"], f.Values[p+"unit"]
		ch.CFC = int(f.Count(p + "cfc"))
		ch.FullScale, ch.Sensitivity, ch.FlagMM = amount(f, p+"full_scale"), amount(f, p+"sensitivity"), amount(f, p+"flag_mm")
		ch.ExpandedUncertaintyPercent = amount(f, p+"uncertainty")
		m.Channels = append(m.Channels, ch)
	}
	return m
}

func amount(f *httpkit.Filled, field string) float64 {
	if v := f.Number(field); v != nil {
		return *v
	}
	return 0
}

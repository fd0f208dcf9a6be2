package present

import (
	"cmp"
	"slices"
	"strconv"

	"thudbook/metrics/chanmap"
	"thudbook/web/page"
)

// MapChanges says in words what a channel map changes of the one before; nil where
// both say the same. The name is that of the rig, and no setting.
func MapChanges(was, now *chanmap.Map) (out []string) {
	out = changed(out, "", page.SetupMapFields(), MapValues(was), MapValues(now))
	out = changed(out, "", unaskedFields(), unaskedValues(was), unaskedValues(now))
	for i := range was.Channels {
		a := &was.Channels[i]
		b := channelOf(now, a.Column)
		if b == nil {
			out = append(out, "channel "+a.Column+": left out")
			continue
		}
		where := "channel " + a.Column + ", "
		out = changed(out, where, page.SetupChannelFields(0), ChannelValues(0, a), ChannelValues(0, b))
		out = changed(out, where, unaskedOfChannel(), unaskedChannelValues(a), unaskedChannelValues(b))
	}
	for i := range now.Channels {
		if c := now.Channels[i].Column; channelOf(was, c) == nil {
			out = append(out, "channel "+c+": new")
		}
	}
	return out
}

func channelOf(m *chanmap.Map, column string) *chanmap.Channel {
	if i := slices.IndexFunc(m.Channels, func(c chanmap.Channel) bool { return c.Column == column }); i >= 0 {
		return &m.Channels[i]
	}
	return nil
}

// changed adds a sentence for each field of which the values differ.
func changed(out []string, where string, fields []page.Field, was, now map[string]string) []string {
	for _, f := range fields {
		a, b := was[f.Name], now[f.Name]
		if a == b {
			continue
		}
		out = append(out, where+f.Label+": "+settingText(&f, a)+" becomes "+settingText(&f, b))
	}
	return out
}

// settingText is a value of a field in words, with its unit.
func settingText(f *page.Field, value string) string {
	for _, o := range f.Options {
		if o.Value == value {
			return cmp.Or(o.Text, "none")
		}
	}
	switch {
	case value == "":
		return "none"
	case f.Unit != "":
		return value + " " + f.Unit
	}
	return value
}

// unaskedFields are the settings of a map that the set-up does not ask for.
func unaskedFields() []page.Field {
	return []page.Field{{Name: "kind", Label: "Kind of file"}, {Name: "delimiter", Label: "Delimiter"}, {Name: "decimal", Label: "Decimal mark"}, {Name: "encoding", Label: "Encoding"},
		{Name: "header_rows", Label: "Rows before the numbers"}, {Name: "resample_hz", Label: "Even rate for uneven times", Unit: "Hz"}}
}

func unaskedValues(m *chanmap.Map) map[string]string {
	f := &m.Format
	return map[string]string{"kind": f.Kind, "delimiter": f.Delimiter, "decimal": f.Decimal, "encoding": f.Encoding, "header_rows": whole(f.HeaderRows), "resample_hz": positive(m.Processing.ResampleHz)}
}

func unaskedOfChannel() []page.Field {
	return []page.Field{{Name: "cross_axis", Label: "Cross-axis sensitivity", Unit: "%"}, {Name: "position", Label: "Place from the centre of gravity", Unit: "mm"}, {Name: "sensor", Label: "Sensor"}}
}

func unaskedChannelValues(c *chanmap.Channel) map[string]string {
	v := map[string]string{"cross_axis": positive(c.CrossAxisPercent), "sensor": c.Sensor}
	if p := c.PositionMM; p != [3]float64{} {
		for i, mm := range p {
			if i > 0 {
				v["position"] += ", "
			}
			v["position"] += strconv.FormatFloat(mm, 'g', -1, 64)
		}
	}
	return v
}

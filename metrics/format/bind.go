package format

import (
	"fmt"
	"strconv"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// bind finds the columns of the map in the file. The channels that are not
// there become faults.
func (r *reader) bind() error {
	r.sel.Time = -1
	if ref := r.out.Map.Time.Column; ref != "" {
		i, what := r.find(ref)
		if i < 0 {
			if r.file.Headers == nil && !isNumber(ref) {
				return r.noHeader()
			}
			return &fault.Error{Code: fault.TimeColumn, Line: r.file.HeaderLine, What: "time column: " + what, Fix: r.fixColumn()}
		}
		r.sel.Time = i
	}
	taken := map[int]string{}
	if r.sel.Time >= 0 {
		taken[r.sel.Time] = "the time"
	}
	var kept []chanmap.Channel
	texts := 0
	for _, ch := range r.out.Map.Channels {
		i, what := r.find(ch.Column)
		if other, twice := taken[i]; i >= 0 && twice {
			i, what = -1, fmt.Sprintf("column %q is used for %s already", ch.Column, other)
		}
		if i < 0 {
			if r.file.Headers == nil && !isNumber(ch.Column) {
				texts++
			}
			r.out.Faults = append(r.out.Faults, &fault.Error{Code: fault.MissingColumn, Line: r.file.HeaderLine,
				Channel: ch.Column, What: what, Fix: r.fixColumn()})
			continue
		}
		taken[i] = "channel " + ch.Column
		r.sel.Columns = append(r.sel.Columns, i)
		r.sel.Names = append(r.sel.Names, r.name(ch, i))
		kept = append(kept, ch)
		r.compareUnits(ch, i)
	}
	if len(kept) == 0 {
		if texts > 0 {
			return r.noHeader()
		}
		f := r.out.Faults[0]
		if n := len(r.out.Faults); n > 1 {
			f.What += fmt.Sprintf(" (nor are the other %d channels of the map there)", n-1)
		}
		return f
	}
	r.out.Map.Channels = kept
	return nil
}

func (r *reader) fixColumn() string {
	if r.file.Headers == nil {
		return fmt.Sprintf("the file has no header and %d columns: bind columns by number, from 1", r.file.Dialect.Width)
	}
	return "the file has " + list(r.file.Headers) + ": correct the column in the channel map, or check the channel's cable and the export"
}

func isNumber(s string) bool {
	_, err := strconv.Atoi(s)
	return err == nil
}

// find gives the index of a column, or -1 and what is wrong. A header text
// matches as it stands, then without regard to case, then without the unit in
// brackets; a whole number that is no header text is a column number from 1.
func (r *reader) find(ref string) (index int, what string) {
	ref = strings.TrimSpace(ref)
	switch index, twice := match(r.file.Headers, ref); {
	case twice >= 0:
		return -1, fmt.Sprintf("%q stands over columns %d and %d; name it by number", ref, index+1, twice+1)
	case index >= 0:
		return index, ""
	}
	if n, err := strconv.Atoi(ref); err == nil {
		if n >= 1 && n <= r.file.Dialect.Width {
			return n - 1, ""
		}
		return -1, fmt.Sprintf("there is no column %d, the rows have %d", n, r.file.Dialect.Width)
	}
	return -1, fmt.Sprintf("there is no column %q", ref)
}

// match finds a text among names: as it stands, then without regard to case,
// then without the unit in brackets. Both results are -1 when it is not there;
// twice is the second place of a text that is there more than once.
func match(names []string, ref string) (index, twice int) {
	for _, same := range []func(h string) bool{
		func(h string) bool { return h == ref },
		func(h string) bool { return strings.EqualFold(h, ref) },
		func(h string) bool { return strings.EqualFold(bare(h), bare(ref)) },
	} {
		index = -1
		for i, h := range names {
			if h == "" || !same(h) {
				continue
			}
			if index >= 0 {
				return index, i
			}
			index = i
		}
		if index >= 0 {
			return index, -1
		}
	}
	return -1, -1
}

// bare is a header without the unit in brackets.
func bare(s string) string { s, _ = chanmap.SplitUnit(s); return s }

// name is the header text of a channel's column, or what the map calls it.
func (r *reader) name(ch chanmap.Channel, i int) string {
	if r.file.Headers != nil && r.file.Headers[i] != "" {
		return r.file.Headers[i]
	}
	return "column " + ch.Column
}

// fileUnit is the unit that the file itself names for a column.
func (r *reader) fileUnit(i int) (unit.Unit, bool) {
	if r.file.Units != nil {
		if u, ok := unit.Parse(r.file.Units[i]); ok {
			return u, true
		}
	}
	if r.file.Headers != nil {
		if _, text := chanmap.SplitUnit(r.file.Headers[i]); text != "" {
			return unit.Parse(text)
		}
	}
	return unit.Unit{}, false
}

// compareUnits notes a unit of the file that is not the map's: the map holds,
// but one of the two is wrong by a factor.
func (r *reader) compareUnits(ch chanmap.Channel, i int) {
	in, ok := r.fileUnit(i)
	if !ok || r.out.Guessed {
		return
	}
	if u, known := unit.Parse(ch.Unit); known && u.Symbol != in.Symbol {
		r.out.Conflicts = append(r.out.Conflicts, UnitConflict{r.name(ch, i), in.Symbol, u.Symbol})
	}
}

// channel converts one column into a channel of the recording.
func (r *reader) channel(i int, values []float64) {
	r.out.Recording.Channels = append(r.out.Recording.Channels, convert(r.out.Map.Channels[i], r.sel.Names[i], values, unit.Unit{}))
}

// convert makes a channel of the recording out of values, which it takes over.
// in is the unit of the values where that is not the map's; the zero Unit
// stands for the map's. The full scale is in the map's unit always.
func convert(ch chanmap.Channel, name string, values []float64, in unit.Unit) signal.Channel {
	u, _ := unit.Parse(ch.Unit)
	out := signal.Channel{
		Name: name, Measures: signal.Quantity(ch.Measures), Values: values,
		CFC: ch.CFC, PositionMM: ch.PositionMM, FlagMM: ch.FlagMM, Sensor: ch.Sensor,
		ExpandedUncertaintyPercent: ch.ExpandedUncertaintyPercent,
	}
	axis := strings.TrimLeft(ch.Axis, "+-")
	switch axis {
	case "x":
		out.Axis = signal.X
	case "y":
		out.Axis = signal.Y
	case "z":
		out.Axis = signal.Z
	}
	mul, div := u.Mul, u.Div
	want := chanmap.Dimension(ch.Measures)
	sensor := false // the sensitivity is in the unit of the map
	switch {
	case want == unit.Raw && (ch.Unit == "" || u.Dimension != unit.Raw):
		out.Unit, mul, div = "V", 1, 1
	case want == unit.Raw && u.Symbol == "count":
		out.Unit = "count"
	case want == unit.Raw:
		out.Unit = "V"
	default:
		out.Unit = unit.Base(want).Symbol
		if u.Dimension == unit.Raw {
			mul, div, sensor = 1, ch.Sensitivity, true
		}
	}
	if ch.ReadsHigh > 0 && !sensor && want != unit.Raw {
		div *= ch.ReadsHigh
	}
	out.FullScale = ch.FullScale * mul / div
	switch {
	case in == unit.Unit{}:
	case sensor: // into the map's unit first
		mul, div = in.Mul*u.Div, in.Div*u.Mul*ch.Sensitivity
	default:
		mul, div = in.Mul, in.Div
		if ch.ReadsHigh > 0 && want != unit.Raw {
			div *= ch.ReadsHigh
		}
	}
	if strings.HasPrefix(ch.Axis, "-") {
		mul = -mul
	}
	scale(values, mul, div)
	return out
}

// scale multiplies by mul and divides by div, in this order, where needed.
func scale(values []float64, mul, div float64) {
	switch {
	case mul == 1 && div == 1:
	case div == 1:
		for i := range values {
			values[i] *= mul
		}
	default:
		for i, v := range values {
			values[i] = v * mul / div
		}
	}
}

// list names headers for a message, at most a dozen.
func list(headers []string) string {
	const most = 12
	var b strings.Builder
	for i, h := range headers {
		if i == most {
			fmt.Fprintf(&b, " and %d more", len(headers)-most)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		if r := []rune(h); len(r) > 40 {
			h = string(r[:40]) + "…"
		}
		b.WriteString(strconv.Quote(h))
	}
	return b.String()
}

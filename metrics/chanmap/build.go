package chanmap

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// setter puts one TOML value where it belongs; it returns what is wrong, or "".
type setter func(v any) string

func text(dst *string) setter {
	return func(v any) string {
		s, ok := v.(string)
		if !ok {
			return fmt.Sprintf("%v is no text", v)
		}
		*dst = s
		return ""
	}
}

// column takes a header text or a number from 1.
func column(dst *string) setter {
	return func(v any) string {
		switch v := v.(type) {
		case string:
			*dst = strings.TrimSpace(v)
		case int64:
			if v < 1 {
				return fmt.Sprintf("column %d does not exist, columns count from 1", v)
			}
			*dst = strconv.FormatInt(v, 10)
		default:
			return fmt.Sprintf("%v is neither a header text nor a column number", v)
		}
		return ""
	}
}

func number(dst *float64) setter {
	return func(v any) string {
		switch v := v.(type) {
		case int64:
			*dst = float64(v)
		case float64:
			*dst = v
		default:
			return fmt.Sprintf("%v is no number", v)
		}
		if math.IsNaN(*dst) || math.IsInf(*dst, 0) {
			return "the value is not finite"
		}
		return ""
	}
}

func whole(dst *int) setter {
	return func(v any) string {
		n, ok := v.(int64)
		if !ok || n > math.MaxInt32 || n < math.MinInt32 {
			return fmt.Sprintf("%v is no whole number in range", v)
		}
		*dst = int(n)
		return ""
	}
}

func triple(dst *[3]float64) setter {
	return func(v any) string {
		list, ok := v.([]any)
		if !ok || len(list) != 3 {
			return "three numbers are needed, [x, y, z] in mm"
		}
		for i := range dst {
			if what := number(&dst[i])(list[i]); what != "" {
				return what
			}
		}
		return ""
	}
}

// keys lists what a table may hold.
type keys map[string]setter

// fill puts a table's values in place and reports unknown keys and wrong kinds.
func (c *checker) fill(path string, v any, known keys) {
	t, ok := v.(map[string]any)
	if !ok {
		c.bad(path, "a table is needed here", "write ["+path+"] with its keys below")
		return
	}
	for _, k := range slices.Sorted(maps.Keys(t)) {
		set, ok := known[k]
		full := k
		if path != "" {
			full = path + "." + k
		}
		if !ok {
			c.bad(full, "the key is not known", unknownFix(k, known))
			continue
		}
		if set == nil {
			continue
		}
		if what := set(t[k]); what != "" {
			c.bad(full, what, "correct the value")
		}
	}
}

func unknownFix(k string, known keys) string {
	names := slices.Sorted(maps.Keys(known))
	best, dist := "", 3
	for _, n := range names {
		if d := distance(strings.ToLower(k), n); d < dist {
			best, dist = n, d
		}
	}
	if best != "" {
		return "did you mean " + best + "? Otherwise remove the key"
	}
	return "remove it; known here: " + strings.Join(names, ", ")
}

// distance is the number of letters to insert, drop or change (Levenshtein).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

// build turns the decoded document into a map and checks it.
func (c *checker) build(doc map[string]any) *Map {
	m := &Map{}
	c.fill("", doc, keys{
		"name": text(&m.Name), "format": nil, "complete": nil, "time": nil,
		"processing": nil, "ram": nil, "channel": nil,
	})
	sub := func(path string, known keys) {
		if v, ok := doc[path]; ok {
			c.fill(path, v, known)
		}
	}
	sub("format", keys{
		"kind": text(&m.Format.Kind), "delimiter": text(&m.Format.Delimiter), "decimal": text(&m.Format.Decimal),
		"encoding": text(&m.Format.Encoding), "header_rows": whole(&m.Format.HeaderRows),
	})
	sub("complete", keys{
		"rule": text(&m.Complete.Rule), "quiet_ms": whole(&m.Complete.QuietMS), "rows": whole(&m.Complete.Rows),
		"footer": text(&m.Complete.Footer), "marker": text(&m.Complete.Marker),
	})
	sub("time", keys{"column": column(&m.Time.Column), "unit": text(&m.Time.Unit), "rate_hz": number(&m.Time.RateHz)})
	sub("processing", keys{"baseline_ms": number(&m.Processing.BaselineMS), "resample_hz": number(&m.Processing.ResampleHz)})
	sub("ram", keys{"mass_kg": number(&m.Ram.MassKG)})
	c.channels(m, doc["channel"])
	c.check(m)
	return m
}

func (c *checker) channels(m *Map, v any) {
	var list []map[string]any
	switch v := v.(type) {
	case nil:
	case []map[string]any:
		list = v
	case []any: // written as channel = [{…}, {…}]
		for _, e := range v {
			t, ok := e.(map[string]any)
			if !ok {
				c.bad("channel", "a list of tables is needed here", "write [[channel]] above each channel's keys")
				return
			}
			list = append(list, t)
		}
	default:
		c.bad("channel", "a list of tables is needed here", "write [[channel]] with two brackets above each channel's keys")
		return
	}
	if len(list) > MaxChannels {
		c.bad("channel", fmt.Sprintf("%d channels are bound, at most %d can be", len(list), MaxChannels), "split the map")
		return
	}
	m.Channels = make([]Channel, len(list))
	for i, t := range list {
		ch := &m.Channels[i]
		path := fmt.Sprintf("channel[%d]", i+1)
		c.fill(path, t, keys{
			"column": column(&ch.Column), "measures": text(&ch.Measures), "axis": text(&ch.Axis), "unit": text(&ch.Unit),
			"sensitivity": number(&ch.Sensitivity), "cfc": whole(&ch.CFC), "full_scale": number(&ch.FullScale),
			"expanded_uncertainty_percent": number(&ch.ExpandedUncertaintyPercent), "position_mm": triple(&ch.PositionMM),
			"cross_axis_percent": number(&ch.CrossAxisPercent),
			"flag_mm":            number(&ch.FlagMM), "sensor": text(&ch.Sensor),
		})
		if _, ok := t["cfc"]; !ok {
			ch.CFC = DefaultCFC(ch.Measures)
		}
	}
}

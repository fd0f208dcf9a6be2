package format

import (
	"fmt"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// MixedRates is the fault code of a channel that does not share the time base
// of the others.
const MixedRates fault.Code = "mixed_rates"

// column is one channel of a file that says itself what it holds.
type column struct {
	number    int      // by which a map may bind it
	names     []string // by which a map may bind it, the best first; may be ""
	label     string   // in messages and in the recording
	unit      string   // as the file names it, "" if it does not
	values    []float64
	clock     clock
	filtered  int     // CFC that the values are filtered with; 0: none
	fullScale float64 // of the converter, in counts; 0: unknown
	fault     *fault.Error
	notes     []string
	described chanmap.Described
}

// source is such a file, read.
type source struct {
	kind    string // as in a channel map
	columns []column
	notes   []string
	fault   *fault.Error // concerns the end of the file
	noGuess *fault.Error // why no map can be guessed; nil if one can
}

// wanted makes the test of what a map binds. It is a loose one: it may keep too
// much, never too little.
func wanted(m *chanmap.Map) func(number int, names []string) bool {
	if m == nil {
		return nil
	}
	return func(number int, names []string) bool {
		for _, ch := range m.Channels {
			ref := strings.TrimSpace(ch.Column)
			if ref == fmt.Sprint(number) {
				return true
			}
			for _, n := range names {
				if n != "" && strings.EqualFold(bare(n), bare(ref)) {
					return true
				}
			}
		}
		return false
	}
}

// columnsReading makes a reading of a file that says itself what it holds.
func columnsReading(s *source, o Options) (*Reading, error) {
	c := &columnReader{source: s}
	if o.Map != nil {
		c.out.Map = *o.Map
		c.out.Map.Channels = append([]chanmap.Channel(nil), o.Map.Channels...)
		if o.Map.Format.Kind == "" {
			c.say("The channel map names no format.kind; the file is read as %s.", kindName(s.kind))
		}
		if o.Map.Time.Column != "" {
			c.say("The file holds its own times; the channel map's time column %q is not used.", o.Map.Time.Column)
			c.out.Map.Time = chanmap.Time{}
		}
	} else {
		if s.noGuess != nil {
			return nil, s.noGuess
		}
		c.out.Map, c.out.Unsure = s.guess()
		c.out.Guessed = true
		if len(c.out.Map.Channels) == 0 {
			return nil, &fault.Error{Code: fault.MissingColumn, What: "no channel of the file was recognised (" + list(s.labels()) + ")", Fix: "write a channel map that binds the channels"}
		}
	}
	c.out.Map.Format = chanmap.Format{Kind: s.kind}
	c.out.Unsure = append(c.out.Unsure, s.notes...)
	bound, err := c.bind()
	if err != nil {
		return nil, err
	}
	if bound, err = c.timeBase(bound, o.MaxSamples); err != nil {
		return nil, err
	}
	c.out.Map.Channels = c.out.Map.Channels[:0:0]
	for _, b := range bound {
		c.out.Map.Channels = append(c.out.Map.Channels, b.ch)
		c.channel(b)
	}
	if s.fault != nil {
		c.out.Faults = append(c.out.Faults, s.fault)
	}
	c.out.Rows = c.out.Recording.Len()
	return &c.out, nil
}

// columnReader holds the state of one columnsReading.
type columnReader struct {
	source *source
	out    Reading
}

// boundColumn is a column with the map's channel for it.
type boundColumn struct {
	*column
	ch chanmap.Channel
}

func (c *columnReader) say(format string, args ...any) {
	c.out.Unsure = append(c.out.Unsure, fmt.Sprintf(format, args...))
}

func (s *source) labels() []string {
	out := make([]string, len(s.columns))
	for i := range s.columns {
		out[i] = s.columns[i].label
	}
	return out
}

func (s *source) guess() (chanmap.Map, []string) {
	all := make([]chanmap.Described, len(s.columns))
	for i := range s.columns {
		all[i] = s.columns[i].described
		all[i].Name = s.columns[i].label
		all[i].Unit = s.columns[i].unit
		all[i].Column = s.reference(i)
	}
	return chanmap.GuessDescribed(s.kind, all)
}

// reference names a column by its first name where that finds it, else by number.
func (s *source) reference(i int) string {
	for _, name := range s.columns[i].names {
		if name = strings.TrimSpace(name); name == "" || isNumber(name) {
			continue
		}
		if at, _ := s.find(name); at == i {
			return name
		}
	}
	return fmt.Sprint(s.columns[i].number)
}

// find gives the index of a column by a map's text, or -1 and what is wrong.
func (s *source) find(ref string) (index int, what string) {
	ref = strings.TrimSpace(ref)
	most := 0
	for i := range s.columns {
		most = max(most, len(s.columns[i].names))
	}
	level := make([]string, len(s.columns))
	for k := range most {
		for i := range s.columns {
			level[i] = ""
			if k < len(s.columns[i].names) {
				level[i] = s.columns[i].names[k]
			}
		}
		switch index, twice := match(level, ref); {
		case twice >= 0:
			return -1, fmt.Sprintf("%q is the name of channels %d and %d; name it by number", ref, s.columns[index].number, s.columns[twice].number)
		case index >= 0:
			return index, ""
		}
	}
	for i := range s.columns {
		if ref == fmt.Sprint(s.columns[i].number) {
			return i, ""
		}
	}
	if isNumber(ref) {
		return -1, fmt.Sprintf("there is no channel %s", ref)
	}
	return -1, fmt.Sprintf("there is no channel %q", ref)
}

// bind finds the map's channels. Those that are not there, or of which nothing
// could be read, become faults.
func (c *columnReader) bind() ([]boundColumn, error) {
	taken := map[int]bool{}
	var bound []boundColumn
	for _, ch := range c.out.Map.Channels {
		i, what := c.source.find(ch.Column)
		if i >= 0 && taken[i] {
			i, what = -1, fmt.Sprintf("channel %q is bound already", ch.Column)
		}
		if i < 0 {
			c.out.Faults = append(c.out.Faults, &fault.Error{Code: fault.MissingColumn, Channel: ch.Column, What: what,
				Fix: "the file has " + list(c.source.labels()) + ": correct the column in the channel map, or check the channel's cable and the export"})
			continue
		}
		taken[i] = true
		col := &c.source.columns[i]
		c.out.Unsure = append(c.out.Unsure, col.notes...)
		if col.fault != nil {
			c.out.Faults = append(c.out.Faults, col.fault)
		}
		if len(col.values) > 0 {
			bound = append(bound, boundColumn{col, ch})
		} else if col.fault == nil {
			c.out.Faults = append(c.out.Faults, &fault.Error{Code: fault.NoData, Channel: col.label, What: "the channel has no values", Fix: "check that the acquisition recorded, and export it again"})
		}
	}
	if len(bound) == 0 {
		f := c.out.Faults[0]
		if n := len(c.out.Faults); n > 1 {
			f.What += fmt.Sprintf(" (nor can the other %d channels of the map be read)", n-1)
		}
		return nil, f
	}
	return bound, nil
}

// channel converts one column into a channel of the recording.
func (c *columnReader) channel(b boundColumn) {
	u, _ := unit.Parse(b.ch.Unit)
	in, known := unit.Parse(b.unit)
	want := chanmap.Dimension(b.ch.Measures)
	convertible := known && in.Dimension == want && u.Dimension == want && want != unit.Raw ||
		known && in.Dimension == unit.Raw && u.Dimension == unit.Raw && (in.Symbol == "count") == (u.Symbol == "count")
	switch {
	case b.ch.Unit == "" || in.Symbol == u.Symbol:
	case convertible:
		c.say("The file says that channel %s is in %s and not in %s; the file's unit holds for the values, the map's for its full scale.", b.label, in.Symbol, u.Symbol)
	case b.unit == "":
		c.say("The file names no unit of channel %s; the channel map's %s holds.", b.label, u.Symbol)
	default:
		c.out.Conflicts = append(c.out.Conflicts, UnitConflict{b.label, clipText(b.unit), u.Symbol})
	}
	if b.ch.FullScale == 0 && u.Symbol == "count" {
		b.ch.FullScale = b.fullScale
	}
	if !convertible {
		in = unit.Unit{}
	}
	out := convert(b.ch, b.label, b.values, in)
	c.filtered(&out, b.filtered)
	c.out.Recording.Channels = append(c.out.Recording.Channels, out)
}

// filtered settles the filter of values that have been filtered before. At the
// class asked for or a lower one they are left as they are: a second pass would
// lower the corner, and what a lower class took away does not come back. Values
// of a higher class are filtered at the class asked for.
func (c *columnReader) filtered(ch *signal.Channel, class int) {
	if class == 0 {
		return
	}
	if c.out.Filtered == nil {
		c.out.Filtered = map[string]int{}
	}
	c.out.Filtered[ch.Name] = class
	switch {
	case ch.CFC == 0 || ch.CFC == class:
		c.say("Channel %s is filtered with CFC %d already, as the file says; it is not filtered again.", ch.Name, class)
		ch.CFC = 0
	case class < ch.CFC:
		c.say("Channel %s is filtered with CFC %d already, as the file says, lower than the CFC %d asked for; it is not filtered again, and its peaks may be too low.", ch.Name, class, ch.CFC)
		ch.CFC = 0
	default:
		c.say("Channel %s is filtered with CFC %d already, as the file says; CFC %d is applied to that.", ch.Name, class, ch.CFC)
	}
}

func clipText(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

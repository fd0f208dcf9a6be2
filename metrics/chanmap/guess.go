package chanmap

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// Guess proposes a map from the header texts of a file and, where it has one,
// its row of units (nil or as long as headers). The second result says in
// sentences what it is unsure of and what it left out; a person should read
// them before a result is used. A map without channels, or with neither a time
// column nor a rate, means that the guess failed.
func Guess(headers, units []string) (Map, []string) {
	g := &guess{taken: map[string]string{}}
	g.m.Name = "guessed from the header"
	g.m.Format.Kind = "delimited"
	cols := make([]guessed, len(headers))
	for i, h := range headers {
		u := ""
		if i < len(units) {
			u = units[i]
		}
		cols[i] = look(h, u)
		cols[i].ref = reference(headers, i)
	}
	g.time(cols)
	for i := range cols {
		if g.isTime != i+1 {
			g.channel(&cols[i])
		}
	}
	g.twoColumns(cols)
	if len(g.m.Channels) == 0 {
		g.say("No column was recognised as a channel; write a channel map.")
	}
	return g.m, g.unsure
}

type guess struct {
	m      Map
	isTime int // number of the time column, from 1
	taken  map[string]string
	unsure []string
}

func (g *guess) say(format string, args ...any) {
	g.unsure = append(g.unsure, fmt.Sprintf(format, args...))
}

// reference names a column: by its header where that is unique, else by number.
func reference(headers []string, i int) string {
	h := strings.TrimSpace(headers[i])
	number := strconv.Itoa(i + 1)
	if h == "" {
		return number
	}
	if _, err := strconv.Atoi(h); err == nil {
		return number
	}
	for j, other := range headers {
		if j != i && strings.EqualFold(strings.TrimSpace(other), h) {
			return number
		}
	}
	return h
}

func (g *guess) time(cols []guessed) {
	for i := range cols {
		c := &cols[i]
		named := slices.ContainsFunc(c.tokens, timeWord)
		if !named && !(c.known && c.unit.Dimension == unit.Time) {
			continue
		}
		if c.known && c.unit.Dimension != unit.Time {
			continue
		}
		if g.isTime != 0 {
			g.say("Column %q may hold times too; column %q is used.", c.header, g.m.Time.Column)
			continue
		}
		g.isTime = i + 1
		g.m.Time.Column = c.ref
		if u, ok := unit.Parse(c.header); !c.known && ok && u.Dimension == unit.Time {
			c.unit, c.known = u, true // a header such as "seconds"
		}
		if c.known {
			g.m.Time.Unit = c.unit.Symbol
		} else {
			g.say("The time column %q names no unit.", c.header)
		}
	}
	if g.isTime == 0 {
		g.say("No time column was found; the map needs one, or rate_hz.")
	}
}

func (g *guess) channel(c *guessed) {
	q, why := c.quantity()
	if q == "" {
		g.say("Column %q is left out: %s.", c.header, why)
		return
	}
	ch := Channel{Column: c.ref, Measures: string(q), CFC: DefaultCFC(string(q)), Axis: c.axis()}
	vector := q == signal.LinearAcceleration || q == signal.AngularVelocity
	if vector && ch.Axis == "" {
		ch.Axis = "x"
		g.say("Column %q names no axis; x is taken.", c.header)
	}
	if !vector && q != signal.Force {
		ch.Axis = ""
	}
	if !g.unit(c, &ch) {
		return
	}
	place := ch.Measures + " " + ch.Axis
	if first, twice := g.taken[place]; twice && vector {
		g.say("Column %q is left out: %s along %s is taken from column %q already.", c.header, ch.Measures, ch.Axis, first)
		return
	}
	g.taken[place] = c.header
	g.m.Channels = append(g.m.Channels, ch)
}

// unit settles the channel's unit; false leaves the column out.
func (g *guess) unit(c *guessed, ch *Channel) bool {
	want := Dimension(ch.Measures)
	base := unit.Base(want)
	switch {
	case c.known && (c.unit.Dimension == want):
		ch.Unit = c.unit.Symbol
	case c.known && c.unit.Dimension == unit.Raw:
		g.say("Column %q is left out: it is in %s, and its sensitivity is needed.", c.header, c.unit.Symbol)
		return false
	case c.known:
		g.say("Column %q is left out: %s is no unit of %s.", c.header, c.unit.Symbol, ch.Measures)
		return false
	default:
		ch.Unit = base.Symbol
		odd := ""
		if c.odd != "" {
			odd = fmt.Sprintf(" (%q is not known)", c.odd)
		}
		if ch.Measures != string(signal.LightGate) {
			g.say("Column %q names no unit%s; %s is taken.", c.header, odd, base.Symbol)
		}
	}
	return true
}

// twoColumns takes the second of two columns for a linear acceleration when
// nothing else was found: a time and one trace.
func (g *guess) twoColumns(cols []guessed) {
	if len(g.m.Channels) > 0 || len(cols) != 2 || g.isTime == 0 {
		return
	}
	c := &cols[2-g.isTime]
	if c.known && c.unit.Dimension != unit.Acceleration || c.has("resultant") {
		return
	}
	ch := Channel{Column: c.ref, Measures: string(signal.LinearAcceleration), Axis: "x", Unit: "g", CFC: DefaultCFC(string(signal.LinearAcceleration))}
	if c.known {
		ch.Unit = c.unit.Symbol
	}
	g.say("Column %q stands alone beside the time; a linear acceleration along x in %s is taken.", c.header, ch.Unit)
	g.m.Channels = append(g.m.Channels, ch)
}

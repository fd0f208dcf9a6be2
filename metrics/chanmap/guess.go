package chanmap

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

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

// guessed is what one header seems to say.
type guessed struct {
	header string
	ref    string
	tokens []string
	unit   unit.Unit
	known  bool // the unit was found
	odd    string
}

// look takes a header apart: name, axis, unit in brackets or as last word.
func look(header, unitCell string) guessed {
	c := guessed{header: strings.TrimSpace(header)}
	name, bracket := SplitUnit(c.header)
	for _, text := range []string{unitCell, bracket} {
		if u, ok := unit.Parse(text); ok {
			c.unit, c.known = u, true
			break
		} else if strings.TrimSpace(text) != "" && c.odd == "" {
			c.odd = strings.TrimSpace(text)
		}
	}
	words := strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	words = slices.DeleteFunc(words, func(w string) bool { w = strings.ToLower(w); return w == "per" || w == "gauge" })
	if !c.known {
		words = c.lastWords(words)
	}
	for _, w := range words {
		c.tokens = append(c.tokens, tokens(w)...)
	}
	return c
}

// lastWords looks for a unit in the last words of a name, "time_ms" or
// "wx rad s", and gives the words before it.
func (c *guessed) lastWords(words []string) []string {
	n := len(words)
	for k := min(3, n-1); k >= 1; k-- {
		u, ok := unit.Parse(strings.Join(words[n-k:], "/"))
		if !ok {
			continue
		}
		if u.Dimension == unit.Time && !timeWord(strings.ToLower(words[0])) {
			continue // the s of something per second
		}
		c.unit, c.known = u, true
		return words[:n-k]
	}
	return words
}

// timeWord knows the names of time columns.
func timeWord(w string) bool {
	switch w {
	case "t", "time", "times", "timestamp", "elapsed", "zeit", "temps", "tiempo", "sec", "seconds", "msec":
		return true
	}
	return false
}

// SplitUnit takes the unit in brackets off a header: "acc x [g]" gives
// "acc x" and "g". Without one, unitText is empty.
func SplitUnit(header string) (name, unitText string) {
	header = strings.TrimSpace(header)
	for _, pair := range []string{"[]", "()", "{}"} {
		if !strings.HasSuffix(header, pair[1:]) {
			continue
		}
		depth := 0
		for i := len(header) - 1; i >= 0; i-- {
			switch header[i] {
			case pair[1]:
				depth++
			case pair[0]:
				depth--
			}
			if depth == 0 {
				if i == 0 {
					return header, ""
				}
				return strings.TrimSpace(header[:i]), strings.TrimSpace(header[i+1 : len(header)-1])
			}
		}
	}
	return header, ""
}

// tokens splits a word between a small and a capital letter, and makes all small.
func tokens(word string) []string {
	var out []string
	from := 0
	small := false
	for i, r := range word {
		if small && unicode.IsUpper(r) {
			out = append(out, strings.ToLower(word[from:i]))
			from = i
		}
		small = unicode.IsLower(r)
	}
	return append(out, strings.ToLower(word[from:]))
}

func (c *guessed) has(words ...string) bool {
	for _, t := range c.tokens {
		for _, w := range words {
			if t == w {
				return true
			}
		}
	}
	return false
}

func (c *guessed) starts(prefixes ...string) bool {
	for _, t := range c.tokens {
		for _, p := range prefixes {
			if strings.HasPrefix(t, p) {
				return true
			}
		}
	}
	return false
}

// axis finds x, y or z as a word of its own or at the end of a short word.
func (c *guessed) axis() string {
	for i := len(c.tokens) - 1; i >= 0; i-- {
		if t := c.tokens[i]; t == "x" || t == "y" || t == "z" {
			return t
		}
	}
	for _, t := range c.tokens {
		for _, stem := range []string{"a", "acc", "accel", "acceleration", "w", "omega", "gyro", "rate", "f", "force", "ang", "av", "ar", "angvel", "lin", "g", "ars", "vel"} {
			for _, x := range []string{"x", "y", "z"} {
				if t == stem+x || t == x+stem || strings.TrimRight(t, "0123456789") == stem+x {
					return x
				}
			}
		}
	}
	switch {
	case c.has("roll"):
		return "x"
	case c.has("pitch"):
		return "y"
	case c.has("yaw"):
		return "z"
	}
	return ""
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

// quantity says what a column measures, or why it is left out.
func (c *guessed) quantity() (q signal.Quantity, why string) {
	angular := c.starts("ang", "rot", "gyro", "omega") || c.has("w", "wx", "wy", "wz", "ars", "roll", "pitch", "yaw", "av", "avx", "avy", "avz")
	linear := c.starts("acc", "lin") || c.has("a", "ax", "ay", "az", "xa", "ya", "za") || c.numbered("ax", "ay", "az")
	switch {
	case c.has("res", "resultant", "magnitude", "mag", "norm", "total", "sum"):
		return "", "a resultant is computed from its components"
	case c.starts("gate", "photo", "light", "beam", "trap"):
		return signal.LightGate, ""
	case c.known && c.unit.Dimension == unit.AngularVelocity:
		return signal.AngularVelocity, ""
	case c.known && c.unit.Dimension == unit.Acceleration && !c.has("fx", "fy", "fz"):
		return signal.LinearAcceleration, ""
	case c.known && c.unit.Dimension == unit.Pressure:
		return signal.Pressure, ""
	case c.known && c.unit.Dimension == unit.Force:
		return signal.Force, ""
	case c.known && c.unit.Dimension == unit.Speed, c.known && c.unit.Dimension == unit.Time:
		return "", "its unit is " + c.unit.Symbol
	case angular && c.starts("acc"):
		return "", "angular acceleration is computed from the angular velocity"
	case angular:
		return signal.AngularVelocity, ""
	case linear:
		return signal.LinearAcceleration, ""
	case c.starts("press", "tank"):
		return signal.Pressure, ""
	case c.starts("force") || c.has("fx", "fy", "fz", "load"):
		return signal.Force, ""
	}
	return "", "its header says nothing that is known"
}

func (c *guessed) numbered(stems ...string) bool {
	for _, t := range c.tokens {
		for _, s := range stems {
			if strings.TrimRight(t, "0123456789") == s {
				return true
			}
		}
	}
	return false
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

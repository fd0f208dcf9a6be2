package chanmap

import (
	"strconv"
	"strings"

	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// Described is a channel of a file that says itself what it holds, as its
// format's reader understands it.
type Described struct {
	Column   string          // what a map binds it by
	Name     string          // in messages
	Measures signal.Quantity // "" if it is none that is used
	Why      string          // then, in words
	Axis     string          // "x", "-x" and so on, "" for none
	Unit     string          // as the file names it
	Head     bool            // it is said to sit on the head
	SI       bool            // without a unit, SI is the format's custom
}

// GuessDescribed proposes a map for a file of the kind (as in Format.Kind) that
// describes its channels. It differs from Guess in that nothing is taken from
// the spelling of names. The second result is as for Guess.
func GuessDescribed(kind string, all []Described) (Map, []string) {
	g := &guess{taken: map[string]string{}}
	g.m.Name = "guessed from the channels' descriptions"
	g.m.Format.Kind = kind
	onHead := map[string]bool{}
	for _, d := range all {
		onHead[d.place()] = onHead[d.place()] || d.Head && d.Measures != ""
	}
	for _, d := range all {
		if d.Measures != "" && !d.Head && onHead[d.place()] {
			g.say("Channel %q is left out: a channel on the head measures the same.", d.Name)
			continue
		}
		g.described(d)
	}
	if len(g.m.Channels) == 0 {
		g.say("No channel was recognised; write a channel map.")
	}
	return g.m, g.unsure
}

// place is what a recording can hold once.
func (d *Described) place() string {
	return string(d.Measures) + " " + strings.TrimLeft(d.Axis, "+-")
}

func (g *guess) described(d Described) {
	if d.Measures == "" {
		g.say("Channel %q is left out: %s.", d.Name, d.Why)
		return
	}
	vector := d.Measures == signal.LinearAcceleration || d.Measures == signal.AngularVelocity
	ch := Channel{Column: d.Column, Measures: string(d.Measures), CFC: DefaultCFC(string(d.Measures))}
	if vector || d.Measures == signal.Force {
		ch.Axis = d.Axis
	}
	if vector && ch.Axis == "" {
		ch.Axis = "x"
		g.say("Channel %q names no axis; x is taken.", d.Name)
	}
	c := &guessed{header: d.Name}
	if c.unit, c.known = unit.Parse(d.Unit); !c.known {
		c.odd = strings.TrimSpace(d.Unit)
	}
	if !c.known && c.odd == "" && d.SI && d.Measures == signal.LinearAcceleration {
		c.unit, c.known = unit.Parse("m/s2")
		g.say("Channel %q names no unit; m/s2 is taken, as is the custom of the format.", d.Name)
	}
	if !g.unit(c, &ch) {
		return
	}
	place := d.place()
	if first, twice := g.taken[place]; twice {
		g.say("Channel %q is left out: the same is taken from channel %q already.", d.Name, first)
		return
	}
	if len(g.m.Channels) >= MaxChannels {
		g.say("Channel %q is left out: a map binds at most %d channels.", d.Name, MaxChannels)
		return
	}
	g.taken[place] = d.Name
	g.m.Channels = append(g.m.Channels, ch)
}

// ParseCFC reads a filter class as headers of measured data write it: "1000",
// "CFC 180", "CFC_60" or the letters A to D of ISO/TS 13499 for 1000 to 60 (from
// memory, not confirmed against print). ok is false for anything else.
func ParseCFC(text string) (class int, ok bool) {
	text = strings.ToUpper(strings.TrimSpace(text))
	if rest, ok := strings.CutPrefix(text, "CFC"); ok {
		text = strings.TrimLeft(rest, " _-")
	}
	switch text {
	case "A":
		return 1000, true
	case "B":
		return 600, true
	case "C":
		return 180, true
	case "D":
		return 60, true
	}
	n, err := strconv.Atoi(text)
	return n, err == nil && n > 0 && n <= 100_000
}

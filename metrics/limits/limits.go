// Package limits holds as data what others have printed: the constants of the
// metrics and the acceptance limits of regulations and specifications, each with
// its source, its edition, and whether somebody compared it with the text of the
// source. Code looks numbers up here and repeats none.
//
// The tables are definitions.toml and limits.toml beside this file. They are part
// of the program; a test reads them whole, so a mistake in them cannot ship.
package limits

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/BurntSushi/toml"
)

// Definition is a published form of a metric: its constants are data, so that a
// result can say which ones it rests on.
type Definition struct {
	ID        string     `json:"id" toml:"id"` // stable, "bric-2013"
	Metric    string     `json:"metric" toml:"metric"`
	Words     string     `json:"words" toml:"words"`   // a few words for a table, "Takhounts 2013"
	Form      string     `json:"form" toml:"form"`     // the formula, in words or signs
	Source    string     `json:"source" toml:"source"` // standard or paper
	Edition   string     `json:"edition,omitempty" toml:"edition"`
	Constants []Constant `json:"constants" toml:"constant"`
}

// Constant is one number of a definition. Confirmed is true only when somebody
// has compared it with the printed source.
type Constant struct {
	Name      string  `json:"name" toml:"name"`
	Value     float64 `json:"value" toml:"value"`
	Unit      string  `json:"unit" toml:"unit"` // "" for a bare number
	Confirmed bool    `json:"confirmed" toml:"confirmed"`
	Note      string  `json:"note,omitempty" toml:"note"`
}

// Confirmed tells whether every constant was compared with print.
func (d *Definition) Confirmed() bool {
	return !slices.ContainsFunc(d.Constants, func(c Constant) bool { return !c.Confirmed })
}

// Citation is the source, with a remark when a constant was not compared with print.
func (d *Definition) Citation() string {
	if d.Confirmed() {
		return d.Source
	}
	return d.Source + "; constants " + Unconfirmed
}

// Unconfirmed are the words that stand wherever a number from memory is shown.
const Unconfirmed = "not confirmed against print"

// Value looks a constant up by name; a name that is not there is a mistake in the
// program and panics.
func (d *Definition) Value(name string) float64 {
	for i := range d.Constants {
		if d.Constants[i].Name == name {
			return d.Constants[i].Value
		}
	}
	panic("limits: definition " + d.ID + " has no constant " + name)
}

// Limit is an acceptance limit as a regulation or specification prints it.
type Limit struct {
	ID        string  `json:"id" toml:"id"`
	Result    string  `json:"result" toml:"result"` // the metric's name, "hic15"
	Most      float64 `json:"most" toml:"most"`     // a value up to and with it is within
	Unit      string  `json:"unit" toml:"unit"`     // of the result; "" for a bare number
	Source    string  `json:"source" toml:"source"`
	Edition   string  `json:"edition,omitempty" toml:"edition"`
	Confirmed bool    `json:"confirmed" toml:"confirmed"`
	Note      string  `json:"note,omitempty" toml:"note"` // the conditions that it holds under
}

//go:embed definitions.toml
var definitionsTOML string

//go:embed limits.toml
var limitsTOML string

// tables are both files, read.
type tables struct {
	definitions []Definition
	byID        map[string]int
	limits      []Limit
}

var loaded = sync.OnceValue(func() *tables {
	var d struct {
		Definition []Definition `toml:"definition"`
	}
	mustDecode("definitions.toml", definitionsTOML, &d)
	var l struct {
		Limit []Limit `toml:"limit"`
	}
	mustDecode("limits.toml", limitsTOML, &l)
	t := &tables{definitions: d.Definition, limits: l.Limit, byID: map[string]int{}}
	for i := range t.definitions {
		t.byID[t.definitions[i].ID] = i
	}
	return t
})

// mustDecode reads a table of this program; its own tests keep it from failing.
func mustDecode(name, text string, into any) {
	meta, err := toml.Decode(text, into)
	if err == nil && len(meta.Undecoded()) > 0 {
		err = fmt.Errorf("unknown key %q", meta.Undecoded()[0])
	}
	if err != nil {
		panic(fmt.Sprintf("limits: %s: %v", name, err))
	}
}

// Definitions are all published forms, in the order of their table. The constants
// are shared: they must not be changed.
func Definitions() []Definition { return slices.Clone(loaded().definitions) }

// Define gives the form with an id; an id that is not there is a mistake in the
// program and panics. The constants are shared: they must not be changed.
func Define(id string) Definition {
	if d, ok := Lookup(id); ok {
		return d
	}
	panic("limits: no definition " + id)
}

// Lookup gives the form with an id that came from outside, as a stored result has it.
func Lookup(id string) (Definition, bool) {
	t := loaded()
	i, ok := t.byID[id]
	if !ok {
		return Definition{}, false
	}
	return t.definitions[i], true
}

// All are the printed limits, in the order of their table.
func All() []Limit { return slices.Clone(loaded().limits) }

// Find gives the printed limits of one result; none when there are none.
func Find(result string) []Limit {
	var out []Limit
	for _, l := range loaded().limits {
		if l.Result == result {
			out = append(out, l)
		}
	}
	return out
}

// Printed finds the sources that print just this limit. A limit that a person
// typed may be one of theirs: the caller can then say so, and whether it was
// confirmed.
func Printed(result string, most float64, unit string) []Limit {
	typed := Limit{Most: most, Unit: unit}
	return slices.DeleteFunc(Find(result), func(l Limit) bool {
		got, ok := typed.In(l.Unit)
		return !ok || !(math.Abs(got-l.Most) <= 1e-9*math.Abs(l.Most))
	})
}

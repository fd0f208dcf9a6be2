// Package risk holds published functions that others have fitted to injury data:
// who, when, of which results, with which constants. They are kept apart from the
// results: each value is that of somebody's published function and nothing more. It
// is no medical statement, no prediction for a person, and no pass mark.
//
// The functions are functions.toml beside this file; their shapes are code.
package risk

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/BurntSushi/toml"

	"thudbook/metrics/limits"
)

// Function is one published function.
type Function struct {
	ID        string            `toml:"id"` // stable, "rowson-duma-2013"
	Name      string            `toml:"name"`
	Authors   string            `toml:"authors"`
	Year      int               `toml:"year"`
	Source    string            `toml:"source"`
	Shape     string            `toml:"shape"` // names the code that evaluates it
	Equation  string            `toml:"equation"`
	IsNot     string            `toml:"is_not"` // one sentence
	Inputs    []Input           `toml:"input"`
	Constants []limits.Constant `toml:"constant"`
}

// Input is one result that a function takes.
type Input struct {
	Result string  `toml:"result"` // its name, "hic15"
	Unit   string  `toml:"unit"`
	Most   float64 `toml:"most"` // a larger input is taken as this one; 0: no bound
	Note   string  `toml:"note"` // why it is bounded
}

// Given is the value of an input as it entered the function.
type Given struct {
	Result  string  `json:"result"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Clamped bool    `json:"clamped,omitempty"` // it was beyond the bound and was taken as the bound
}

// Value is a function's value for one shot.
type Value struct {
	ID        string  `json:"id"`
	Name      string  `json:"name"`
	Authors   string  `json:"authors"`
	Year      int     `json:"year"`
	Inputs    []Given `json:"inputs"`
	Value     float64 `json:"value"`           // 0 to 1
	Bound     string  `json:"bound,omitempty"` // "at most", "at least": the inputs are beyond the published points
	Confirmed bool    `json:"confirmed"`       // its constants were compared with print
	Sentence  string  `json:"sentence"`        // what it is and what it is not; show it wherever the value is shown
}

//go:embed functions.toml
var functionsTOML string

var loaded = sync.OnceValue(func() []Function {
	var f struct {
		Function []Function `toml:"function"`
	}
	meta, err := toml.Decode(functionsTOML, &f)
	if err == nil && len(meta.Undecoded()) > 0 {
		err = fmt.Errorf("unknown key %q", meta.Undecoded()[0])
	}
	if err != nil {
		panic(fmt.Sprintf("risk: functions.toml: %v", err)) // part of the program; its tests read it
	}
	return f.Function
})

// Functions are all functions in the order of their table. What they point to is
// shared: it must not be changed.
func Functions() []Function { return slices.Clone(loaded()) }

// Evaluate gives the value of every function whose inputs are all there. results
// holds the results by name in the units of the functions' inputs.
func Evaluate(results map[string]float64) []Value {
	var out []Value
	for i := range loaded() {
		if v, ok := loaded()[i].Of(results); ok {
			out = append(out, v)
		}
	}
	return out
}

// Of evaluates one function; ok is false when an input is missing, negative or not
// finite.
func (f *Function) Of(results map[string]float64) (v Value, ok bool) {
	v = Value{ID: f.ID, Name: f.Name, Authors: f.Authors, Year: f.Year, Confirmed: f.Confirmed(), Sentence: f.Sentence()}
	x := make([]float64, len(f.Inputs))
	for i, in := range f.Inputs {
		r, there := results[in.Result]
		if !there || !(r >= 0) || math.IsInf(r, 1) {
			return Value{}, false
		}
		g := Given{Result: in.Result, Value: r, Unit: in.Unit}
		if in.Most > 0 && r > in.Most {
			g.Value, g.Clamped = in.Most, true
		}
		x[i] = g.Value
		v.Inputs = append(v.Inputs, g)
	}
	v.Value, v.Bound = f.evaluate(x)
	return v, true
}

// Confirmed tells whether every constant was compared with print.
func (f *Function) Confirmed() bool {
	return !slices.ContainsFunc(f.Constants, func(c limits.Constant) bool { return !c.Confirmed })
}

// Sentence says what the function is and what it is not.
func (f *Function) Sentence() string {
	var of []string
	for _, in := range f.Inputs {
		of = append(of, inWords(in.Result))
	}
	s := fmt.Sprintf("A published function of %s, %d, of %s", f.Authors, f.Year, strings.Join(of, " and "))
	if !f.Confirmed() {
		s += "; its constants are " + limits.Unconfirmed
	}
	return s + ". " + f.IsNot
}

// inWords is a result's name inside a sentence.
func inWords(result string) string {
	switch result {
	case "hic15":
		return "HIC15"
	case "bric":
		return "BrIC"
	default:
		return strings.ReplaceAll(result, "_", " ")
	}
}

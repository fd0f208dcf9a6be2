// Package uff58 reads and writes dataset 58 (function at nodal degree of
// freedom) of the Universal File Format in its text form: one function of time
// per dataset, several datasets per file. Other datasets, such as 151 (header)
// and 164 (units), are passed over. The binary form 58b is refused.
//
// Record layout after the format description published by the Structural
// Dynamics Research Laboratory of the University of Cincinnati ("Universal
// Dataset Number 58").
package uff58

import (
	"fmt"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

const maxDatasets = 4096

// Options says what is kept and how much.
type Options struct {
	// Keep says whether the values of a dataset are wanted, by its number and the
	// texts that name it. Nil keeps all.
	Keep func(number int, names []string) bool
	// MaxValues is the most numbers over all datasets kept, times of uneven ones
	// included; 0: 20 million.
	MaxValues int
}

func (o Options) maxValues() int {
	if o.MaxValues <= 0 {
		return 20_000_000
	}
	return o.MaxValues
}

// File is the datasets of one file.
type File struct {
	Datasets []Dataset
	Skipped  []Skipped
	Notes    []string
}

// Skipped is a dataset of another type.
type Skipped struct {
	Type string
	Line int
}

// Quantities and functions by their numbers in the records.
const (
	TimeResponse = 1 // function type

	General         = 1 // ordinate
	ReactionForce   = 9
	Velocity        = 11
	Acceleration    = 12
	ExcitationForce = 13
	Pressure        = 15
	Time            = 17 // abscissa

	realSingle = 2 // ordinate data types
	realDouble = 4
)

// Axis describes abscissa or ordinate, records 8 and 9.
type Axis struct {
	Type        int // specific data type
	Length      int // exponents of the unit
	Force       int
	Temperature int
	Label, Unit string // "" for NONE
}

// Dataset is one function.
type Dataset struct {
	Number       int // among the datasets 58 of the file, from 1
	Line         int // of its first ID line
	ID           [5]string
	FunctionType int
	Entity       string // response entity name, "" for NONE
	Node         int    // response node
	Direction    int    // response direction: 0 scalar, ±1 ±2 ±3 along X Y Z, ±4 ±5 ±6 round X Y Z
	DataType     int    // 2 real single, 4 real double
	Declared     int64  // number of values
	Even         bool
	Start, Step  float64 // of even abscissas, in the abscissa's unit
	StepDigits   int     // significant digits that print Step
	Abscissa     Axis
	Ordinate     Axis
	Kept         bool
	Times        []float64 // of uneven abscissas
	TimeDigits   int       // most significant digits that print one of Times
	Values       []float64
	Fault        *fault.Error // the first that concerns this dataset alone
	Notes        []string
}

// Names are the texts that a channel map may name a dataset by, the first ID
// line first; a text that is missing is "". The last is node and direction,
// "12+X" for node 12, "12-RX" for a rotation the other way round.
func (d *Dataset) Names() []string {
	return []string{d.ID[0], d.Entity, d.Ordinate.Label, d.dof()}
}

// dof is node and direction in the usual short form.
func (d *Dataset) dof() string {
	n := d.Direction
	sign := "+"
	if n < 0 {
		n, sign = -n, "-"
	}
	if n < 1 || n > 6 {
		return fmt.Sprintf("%dS", d.Node)
	}
	return fmt.Sprintf("%d%s%s", d.Node, sign, [...]string{"X", "Y", "Z", "RX", "RY", "RZ"}[n-1])
}

// Label is how messages name the dataset.
func (d *Dataset) Label() string {
	if d.ID[0] != "" {
		return d.ID[0]
	}
	return fmt.Sprintf("dataset %d", d.Number)
}

// Axis gives "x", "-x" and so on by the response direction, "" for a scalar.
func (d *Dataset) Axis() string {
	n, sign := d.Direction, ""
	if n < 0 {
		n, sign = -n, "-"
	}
	if n < 1 || n > 6 {
		return ""
	}
	return sign + [...]string{"x", "y", "z"}[(n-1)%3]
}

// Quantity is what the records say that a dataset measures; why says in words
// why it is none that is used here.
func (d *Dataset) Quantity() (q signal.Quantity, why string) {
	turns := d.Direction < -3 || d.Direction > 3
	along := d.Direction != 0 && !turns
	u, known := unit.Parse(d.Ordinate.Unit)
	switch t := d.Ordinate.Type; {
	case d.FunctionType > TimeResponse:
		return "", "it is no time response"
	case t == Acceleration && turns:
		return "", "angular acceleration is computed from the angular velocity"
	case t == Acceleration:
		return signal.LinearAcceleration, ""
	case t == Velocity && turns, known && u.Dimension == unit.AngularVelocity:
		return signal.AngularVelocity, ""
	case t == Velocity:
		return "", "it is a velocity along an axis"
	case t == Pressure, known && u.Dimension == unit.Pressure:
		return signal.Pressure, ""
	case t == ReactionForce, t == ExcitationForce, known && u.Dimension == unit.Force:
		return signal.Force, ""
	case known && u.Dimension == unit.Acceleration && along:
		return signal.LinearAcceleration, ""
	case gate(d.ID[0]), gate(d.Ordinate.Label), gate(d.Entity):
		return signal.LightGate, ""
	}
	return "", fmt.Sprintf("its ordinate (type %d, unit %q) says nothing that is used here", d.Ordinate.Type, textOr(d.Ordinate.Unit, "NONE"))
}

func gate(s string) bool {
	s = strings.ToLower(s)
	return strings.Contains(s, "gate") || strings.Contains(s, "light")
}

func textOr(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// fail notes a fault of the dataset; the first one counts.
func (d *Dataset) fail(f *fault.Error) {
	if d.Fault == nil {
		f.Channel = d.Label()
		d.Fault = f
	}
}

package page

import (
	"net/url"
	"time"
)

// Paths of the list of people at the rigs; on an agent also of picking a name.
const (
	PathPeople    = "/people"
	PostPerson    = "/people/add"
	PostPIN       = "/people/pin"
	PostOffList   = "/people/off"
	PostOnList    = "/people/on"
	PostErase     = "/people/erase"
	PostPersonOut = "/people/out" // signs out
)

// PersonPath asks for the PIN of one person (GET), and takes it (POST).
func PersonPath(id string) string { return PathPeople + "/" + url.PathEscape(id) }

// Operator is who works at the rig, as every screen of an agent shows it once
// somebody is on the list.
type Operator struct {
	Name string // empty: nobody has picked a name yet
	Href string // where to change
}

// Operators is the agent's screen on which people pick their name.
type Operators struct {
	Frame
	Current string // name of who is signed in; empty: nobody
	People  []OperatorRow
	Next    string // where to go afterwards
	Keeps   bool   // the list is kept here, not on a server
	List    PeopleList
}

func (Operators) screen() string { return "operators" }

// OperatorRow is one name to pick.
type OperatorRow struct {
	Name    string
	Href    string
	Current bool
}

// PIN asks one person for the PIN.
type PIN struct {
	Frame
	Name string
	Form Form // PINFields
	Back string
	Wait time.Duration // until another PIN is taken, after wrong ones
}

// WaitMS is Wait for the script that counts it down.
func (p PIN) WaitMS() int64 { return p.Wait.Milliseconds() }

// WaitSeconds is Wait, rounded up.
func (p PIN) WaitSeconds() int64 { return int64((p.Wait + time.Second - 1) / time.Second) }

func (PIN) screen() string { return "pin" }

// RigPeople is the server's screen of the people at the rigs.
type RigPeople struct {
	Frame
	Lab  Form // chooses the lab, by GET; no fields with one lab
	List PeopleList
}

func (RigPeople) screen() string { return "rig-people" }

// PeopleList is the list with the forms that change it. A form without an
// action is not shown.
type PeopleList struct {
	Now  time.Time
	Rows []PersonRow
	Add  Form // PersonFields
	PIN  Form // NewPINFields
	Off  Form // OffListFields
	On   Form // OnListFields

	Erase Form // EraseFields
}

// PersonRow is one person on the list, or off it.
type PersonRow struct {
	Name  string
	Lab   string
	State Status // as {OK, "on the list"}, {Plain, "withdrawn"}
	Since time.Time
	Why   string // who withdrew the person, and why
}

const pinHelp = "4 to 12 digits. It is stored so that nobody can read it back; it tells who did what, and is no lock on the ram."

// PINFields asks for a PIN.
func PINFields() []Field {
	return []Field{{Name: "pin", Label: "PIN", Kind: "pin", Required: true}}
}

// PersonFields puts a person onto the list.
func PersonFields() []Field {
	return []Field{
		{Name: "name", Label: "Name", Kind: "text", Required: true, Complete: "off", Help: "As others know it; it stands beside what the person records."},
		{Name: "pin", Label: "PIN", Kind: "pin", Required: true, Help: pinHelp},
	}
}

// NewPINFields gives a person another PIN. Choices: "person".
func NewPINFields() []Field {
	return []Field{
		{Name: "person", Label: "Person", Kind: "select", Required: true},
		{Name: "pin", Label: "New PIN", Kind: "pin", Required: true, Help: pinHelp},
	}
}

// OffListFields takes a person off the list. Choices: "person".
func OffListFields() []Field {
	return []Field{
		{Name: "person", Label: "Person", Kind: "select", Required: true},
		{Name: "reason", Label: "Reason", Kind: "text", Required: true, Help: "As: left the lab. What the person recorded stays. A rig where this is done signs the person out at once; others do so at their next exchange with the server."},
	}
}

// EraseFields erases a person's name. Choices: "person".
func EraseFields() []Field {
	return []Field{
		{Name: "person", Label: "Person", Kind: "select", Required: true},
		{Name: "reason", Label: "Reason", Kind: "text", Required: true, Help: "As: asked for it. The reason is kept for ever: write no name here."},
		{Name: "confirm", Label: "Type the person’s name", Kind: "text", Required: true, Complete: "off", Help: "This confirms that the name is erased for good."},
	}
}

// OnListFields puts a person back onto the list. Choices: "person".
func OnListFields() []Field {
	return []Field{
		{Name: "person", Label: "Person", Kind: "select", Required: true},
		{Name: "reason", Label: "Reason", Kind: "text", Required: true, Help: "The PIN is the one from before."},
	}
}

// PathUnsent shows a form that was refused because nobody was signed in.
const PathUnsent = PathPeople + "/unsent"

// Unsent is what was typed before somebody signed in, to be sent now.
type Unsent struct {
	Frame
	Action string // where it is sent to
	Back   string // the screen that it was typed on
	Typed  []UnsentValue
	Hidden []UnsentValue // all that is sent
}

func (Unsent) screen() string { return "unsent" }

// UnsentValue is one field of a form with its value.
type UnsentValue struct{ Name, Value string }

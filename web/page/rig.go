package page

import (
	"strings"
	"time"
)

// Paths of the screens that make a rig ready.
const (
	PathRig      = "/rig"
	PostMount    = "/rig/mount"
	PostRigCert  = "/rig/calibration"
	PostUnmount  = "/rig/unmount"
	PostMistaken = "/rig/mistaken" // withdraws a mounting
	PostAbsent   = "/rig/absent"
	PostPresent  = "/rig/present" // withdraws that a position is absent
	PostRated    = "/rig/rated"
	PostNotRated = "/rig/notrated" // withdraws it
)

// Rig says what is installed where at one rig, and changes it.
type Rig struct {
	Frame
	Map         string // name of the channel map; empty: none, the channels are guessed
	Rows        []RigPosition
	Changes     []RigChange
	More        bool     // changes beyond these
	Mount       Form     // MountFields
	Calibration Form     // CalibrationFields
	Most        Pressure // maximum allowed tank pressure; empty Text: none is stated
	MarkedOn    string
	MostSince   time.Time
	MostBy      string
	Rated       Form // RatedFields
	NotRated    Form // MistakenFields; withdraws Most
}

func (Rig) screen() string { return "rig" }

// Missing counts the positions without an item.
func (r Rig) Missing() (n int) {
	for _, p := range r.Rows {
		if p.Item == "" && p.Absent == "" {
			n++
		}
	}
	return n
}

// RigPosition is one place at the rig.
type RigPosition struct {
	Position string
	Kind     string // of item that belongs there; empty: not known
	Channel  string // what the map reads there, as "linear acceleration, x, g"; empty: no channel
	Item     string // name and serial number; empty: nothing is there
	Since    time.Time
	States   []Status // calibration, service, what is wrong
	Key      string   // of the form that takes it off, or says that there is no such position
	Absent   string   // why the rig has no such position; empty: it has one
	AbsentID string   // of the entry that says so
	AbsentBy string
	Others   []string // where the same item sits too
}

// RigChange is one entry of the rig's history.
type RigChange struct {
	ID       string
	At       time.Time
	Position string
	Item     string // empty: taken off
	Also     bool   // it stayed where it sat before
	By       string
	Key      string
}

// MountFields ask what was put where. Choices: "position", "item", the latter
// with NewItem for what the register does not have yet.
func MountFields() []Field {
	f := ItemFields()
	class := f[1]
	class.Help, class.Label, class.Required = "For a new item.", "Kind of the new item", false
	class.Options = append([]Choice{{"", "–"}}, class.Options...)
	return []Field{
		{Name: "position", Label: "Position", Kind: "list", Required: true, Help: "As the channel map names the column, such as ax; else ram, impactor face, head form, neck."},
		{Name: "item", Label: "Item", Kind: "select", Required: true},
		{Name: "effective_at", Label: "Mounted at", Kind: "datetime-local", Help: "Empty: now."},
		AnotherAxisField(),
		class,
		{Name: "serial", Label: "Serial number of the new item", Kind: "text"},
		calibrationField("The new item needs calibration"),
		{Name: "confirmed", Label: "I have checked this entry", Kind: "checkbox", Help: "Tick it to save an entry that was called doubtful."},
	}
}

// AnotherAxisField says that an item stays where it sits already.
func AnotherAxisField() Field {
	return Field{Name: "also", Label: "It stays at its other positions too", Kind: "checkbox", Help: "For the next axis of one sensor case, as a triaxial accelerometer at ax, ay and az. Without the tick it was moved here."}
}

// NewItem is the choice of an item that is not in the register yet.
const NewItem = "new"

// UnmountFields take an item off. The position is hidden.
func UnmountFields() []Field {
	return []Field{
		{Name: "position", Kind: "hidden"},
		{Name: "effective_at", Label: "Taken off at", Kind: "datetime-local", Help: "Empty: now."},
		{Name: EverywhereField, Label: "Off all its positions", Kind: "checkbox"},
	}
}

// EverywhereField takes an item off all the positions of a rig at which it sits.
const EverywhereField = "everywhere"

// MistakenFields withdraw an entry. The id is hidden.
func MistakenFields() []Field {
	return []Field{{Name: "id", Kind: "hidden"}, {Name: "reason", Label: "Why it was wrong", Kind: "text", Required: true}}
}

// Unmount is the form that takes the item of a position off.
func (p RigPosition) Unmount() Form {
	f := Form{Action: PostUnmount, ID: "off-" + strings.ReplaceAll(p.Position, " ", "-"), Key: p.Key, Fields: UnmountFields(), Submit: "Take it off", Values: map[string]string{"position": p.Position}}
	last := len(f.Fields) - 1
	if len(p.Others) == 0 {
		f.Fields = f.Fields[:last]
		return f
	}
	f.Fields[last].Help = "It sits at " + strings.Join(p.Others, ", ") + " too. Without the tick it stays there."
	f.Values[EverywhereField] = "yes"
	return f
}

// AbsentFields say that the rig does not have a position. The position is hidden.
func AbsentFields() []Field {
	return []Field{
		{Name: "position", Kind: "hidden"},
		{Name: "reason", Label: "Why, or how it is done instead", Kind: "text", Required: true, Help: "As: no light gate on this rig, the speed is typed from the timer."},
	}
}

// NotHere is the form that says that the rig does not have the position.
func (p RigPosition) NotHere() Form {
	return Form{Action: PostAbsent, ID: "no-" + strings.ReplaceAll(p.Position, " ", "-"), Key: p.Key, Fields: AbsentFields(), Submit: "This rig has none", Values: map[string]string{"position": p.Position}}
}

// Present is the form that takes that back.
func (p RigPosition) Present() Form {
	return Form{Action: PostPresent, ID: "has-" + strings.ReplaceAll(p.Position, " ", "-"), Key: p.Key, Fields: MistakenFields(), Submit: "It has one after all", Values: map[string]string{"id": p.AbsentID}}
}

// RatedFields ask for the maximum allowed tank pressure, in the lab's unit.
func RatedFields(unit string) []Field {
	return []Field{
		{Name: "most", Label: "Maximum allowed tank pressure, gauge", Unit: unit, Kind: "number", Required: true, Help: "Of vessel, fittings and relief valve the lowest that is marked. Read it off; do not guess."},
		{Name: "marked_on", Label: "Where it is marked", Kind: "text", Required: true, Help: "As: plate of the vessel; relief valve, with its number."},
		{Name: "effective_at", Label: "Since", Kind: "datetime-local", Help: "Empty: now."},
	}
}

// Mistaken is the form that withdraws the entry.
func (c RigChange) Mistaken() Form {
	return Form{Action: PostMistaken, ID: "m-" + c.ID, Key: c.Key, Fields: MistakenFields(), Submit: "Withdraw the entry", Values: map[string]string{"id": c.ID}}
}

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
)

// Rig says what is installed where at one rig, and changes it.
type Rig struct {
	Frame
	Map         string // name of the channel map; empty: none, the channels are guessed
	Rows        []RigPosition
	Changes     []RigChange
	More        bool // changes beyond these
	Mount       Form // MountFields
	Calibration Form // CalibrationFields
}

func (Rig) screen() string { return "rig" }

// Missing counts the positions without an item.
func (r Rig) Missing() (n int) {
	for _, p := range r.Rows {
		if p.Item == "" {
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
	Key      string   // of the form that takes it off
}

// RigChange is one entry of the rig's history.
type RigChange struct {
	ID       string
	At       time.Time
	Position string
	Item     string // empty: taken off
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
		class,
		{Name: "serial", Label: "Serial number of the new item", Kind: "text"},
		{Name: "calibration_required", Label: "The new item needs calibration", Kind: "checkbox"},
		{Name: "confirmed", Label: "I have checked this entry", Kind: "checkbox", Help: "Tick it to save an entry that was called doubtful."},
	}
}

// NewItem is the choice of an item that is not in the register yet.
const NewItem = "new"

// UnmountFields take an item off. The position is hidden.
func UnmountFields() []Field {
	return []Field{
		{Name: "position", Kind: "hidden"},
		{Name: "effective_at", Label: "Taken off at", Kind: "datetime-local", Help: "Empty: now."},
	}
}

// MistakenFields withdraw an entry. The id is hidden.
func MistakenFields() []Field {
	return []Field{{Name: "id", Kind: "hidden"}, {Name: "reason", Label: "Why it was wrong", Kind: "text", Required: true}}
}

// Unmount is the form that takes the item of a position off.
func (p RigPosition) Unmount() Form {
	return Form{Action: PostUnmount, ID: "off-" + strings.ReplaceAll(p.Position, " ", "-"), Key: p.Key, Fields: UnmountFields(), Submit: "Take it off", Values: map[string]string{"position": p.Position}}
}

// Mistaken is the form that withdraws the entry.
func (c RigChange) Mistaken() Form {
	return Form{Action: PostMistaken, ID: "m-" + c.ID, Key: c.Key, Fields: MistakenFields(), Submit: "Withdraw the entry", Values: map[string]string{"id": c.ID}}
}

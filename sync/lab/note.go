package lab

import (
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// What an entry of the log is about. Services are facts of their own.
const (
	NotePlain     = "note"
	NotePart      = "part changed"
	NoteDeviation = "deviation" // from the plan or the test method
)

// NoteTopics lists them, in the order of a form.
func NoteTopics() []string { return []string{NotePlain, NotePart, NoteDeviation} }

// Note is an entry of the log. A correction is a new entry that names what it
// corrects.
type Note struct {
	Topic       string      `json:"topic"`
	EffectiveAt Time        `json:"effective_at"`
	Text        string      `json:"text"`
	Rig         uuid.UUID   `json:"rig"`  // zero: of no rig
	Item        uuid.UUID   `json:"item"` // zero: of no item of the register
	Shot        uuid.UUID   `json:"shot"` // zero: of no shot
	Parts       []string    `json:"parts,omitempty"`
	Corrects    []uuid.UUID `json:"corrects,omitempty"` // earlier entries that this one replaces
}

// RecordKind is KindNote.
func (*Note) RecordKind() record.Kind { return KindNote }

// SchemaVersion is NoteSchema.
func (*Note) SchemaVersion() uint { return NoteSchema }

// MaxParts is how many parts one entry names.
const MaxParts = 50

// Validate gives all faults at once.
func (n *Note) Validate() error {
	c := &checks{what: KindNote}
	c.oneOf("topic", n.Topic, NoteTopics()...)
	c.when("effective_at", n.EffectiveAt)
	c.needText("text", n.Text, MaxNote)
	c.parts(n.Parts)
	if k := len(n.Corrects); k > maxCorrects {
		c.add("corrects", fmt.Sprintf("%d entries, the most is %d", k, maxCorrects), "correct them in steps")
	}
	return c.err()
}

func (c *checks) parts(parts []string) {
	if n := len(parts); n > MaxParts {
		c.add("parts", fmt.Sprintf("%d parts, the most is %d", n, MaxParts), "divide the entry")
	}
	for _, p := range parts {
		c.needText("parts", p, MaxText)
	}
}

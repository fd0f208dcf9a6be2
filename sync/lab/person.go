package lab

import (
	"github.com/google/uuid"

	"thudbook/sync/record"
)

// People at the rigs of a lab. Their names and the hashes of their PINs stand
// on cards, attachments with the role RolePerson that can be erased; records
// carry ids.
const (
	KindPerson       record.Kind = "person"
	KindPersonErased record.Kind = "person.erased"

	PersonSchema       uint = 1
	PersonErasedSchema uint = 1

	RolePerson = "person"
)

// AuthorRig is the author of what was entered at a rig where nobody had said
// who it is.
const AuthorRig = "operator"

// Person gives a person a card, or another one in its place, as with a new
// PIN. The envelope's UID is the person's id; the newest card by clock holds.
// A person is taken off the list, and put back onto it, by Withdrawn.
type Person struct {
	CardSHA256 record.Hash `json:"card_sha256"` // of the attachment with RolePerson
}

// RecordKind is KindPerson.
func (*Person) RecordKind() record.Kind { return KindPerson }

// SchemaVersion is PersonSchema.
func (*Person) SchemaVersion() uint { return PersonSchema }

// Validate gives all faults at once.
func (p *Person) Validate() error {
	c := &checks{what: KindPerson}
	c.hash("card_sha256", p.CardSHA256)
	return c.err()
}

// PersonErased says that a person's cards are erased wherever they lie. It
// cannot be taken back; what the person recorded stays, under the bare id.
type PersonErased struct {
	Person uuid.UUID `json:"person"`
	Reason string    `json:"reason"`
}

// RecordKind is KindPersonErased.
func (*PersonErased) RecordKind() record.Kind { return KindPersonErased }

// SchemaVersion is PersonErasedSchema.
func (*PersonErased) SchemaVersion() uint { return PersonErasedSchema }

// Validate gives all faults at once.
func (p *PersonErased) Validate() error {
	c := &checks{what: KindPersonErased}
	c.id("person", p.Person)
	c.needText("reason", p.Reason, MaxNote)
	return c.err()
}

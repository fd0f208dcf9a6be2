package lab

import (
	"crypto/sha256"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// KindPhoto is a photo that somebody took at the rig.
const (
	KindPhoto record.Kind = "photo"

	PhotoSchema uint = 1
)

// Photo is one photo of a specimen: after a shot, or of the specimen as it is,
// as on arrival. Its bytes are an attachment with RolePhoto, kept as they came.
// The envelope's UID is PhotoOf, so that the same bytes sent again are the same
// photo. One that belongs elsewhere is taken off by Withdrawn.
type Photo struct {
	Shot        uuid.UUID   `json:"shot"`                  // zero: not after a hit of this store
	Specimen    string      `json:"specimen"`              // of photos without a shot; else the shot says it
	Inspection  uuid.UUID   `json:"inspection"`            // made while this one was made; zero: at none
	SHA256      record.Hash `json:"sha256"`                // of the attachment
	EffectiveAt Time        `json:"effective_at"`          // when it arrived, by the clock of the node that keeps it
	CameraTime  string      `json:"camera_time,omitempty"` // what the camera wrote, "2026-03-02T10:00:00", with its zone if it says one
	Note        string      `json:"note,omitempty"`
}

// PhotoOf is the id of a photo: it follows from what the photo shows and its bytes.
func PhotoOf(shot uuid.UUID, specimen string, sum record.Hash) uuid.UUID {
	return idOf("phot1", sha256.Sum256(slices.Concat(shot[:], sum[:], []byte(Fold(specimen)))))
}

// RecordKind is KindPhoto.
func (*Photo) RecordKind() record.Kind { return KindPhoto }

// SchemaVersion is PhotoSchema.
func (*Photo) SchemaVersion() uint { return PhotoSchema }

// Validate gives all faults at once.
func (p *Photo) Validate() error {
	c := &checks{what: KindPhoto}
	if (p.Shot == uuid.Nil) == (Fold(p.Specimen) == "") {
		c.add("shot", "the photo is of no shot and no specimen, or of both", "name the shot, or the specimen alone")
	}
	c.text("specimen", p.Specimen, MaxText)
	c.hash("sha256", p.SHA256)
	c.when("effective_at", p.EffectiveAt)
	c.text("camera_time", p.CameraTime, 40)
	c.text("note", p.Note, MaxNote)
	return c.err()
}

package lab

import (
	"crypto/sha256"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// KindDocument is a file that belongs to an item: a certificate, a manual, a photo.
const (
	KindDocument record.Kind = "document"

	DocumentSchema uint = 1
)

// RoleDocument is the role of a document's attachment.
const RoleDocument = "document"

// Document is a file about an item or one of its certificates. Its bytes are an
// attachment with RoleDocument, kept as they came. The envelope's UID is
// DocumentOf, so that the same file sent again is the same document. One that
// belongs elsewhere is taken off by Withdrawn.
type Document struct {
	Item        uuid.UUID   `json:"item"`
	Calibration uuid.UUID   `json:"calibration"` // that it is the certificate of; zero: of the item in general
	SHA256      record.Hash `json:"sha256"`      // of the attachment
	EffectiveAt Time        `json:"effective_at"`
	Title       string      `json:"title,omitempty"`
}

// DocumentOf is the id of a document: it follows from what it belongs to and its bytes.
func DocumentOf(item, calibration uuid.UUID, sum record.Hash) uuid.UUID {
	return idOf("docu1", sha256.Sum256(slices.Concat(item[:], calibration[:], sum[:])))
}

// RecordKind is KindDocument.
func (*Document) RecordKind() record.Kind { return KindDocument }

// SchemaVersion is DocumentSchema.
func (*Document) SchemaVersion() uint { return DocumentSchema }

// Validate gives all faults at once.
func (d *Document) Validate() error {
	c := &checks{what: KindDocument}
	c.id("item", d.Item)
	c.hash("sha256", d.SHA256)
	c.when("effective_at", d.EffectiveAt)
	c.text("title", d.Title, MaxText)
	return c.err()
}

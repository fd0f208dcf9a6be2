package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// DocumentRow is one file about an item; one that was taken off is Withdrawn.
type DocumentRow struct {
	Head
	Document lab.Document
	Bytes    record.Attachment // zero when the record came without
}

func documentTable() *index.Table[doc[lab.Document]] {
	return dated("view.document", func(d *lab.Document) (uuid.UUID, lab.Time) { return d.Item, d.EffectiveAt })
}

func documentRow(d *doc[lab.Document]) DocumentRow {
	r := DocumentRow{Head: d.head(), Document: *d.body()}
	for _, a := range d.Made.Attachments {
		if a.Role == lab.RoleDocument && a.SHA256 == r.Document.SHA256 {
			r.Bytes = a
		}
	}
	return r
}

// Documents lists the files about an item and its certificates, the newest first,
// without those that were taken off.
func (v *Reader) Documents(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]DocumentRow, error) {
	return facts(ctx, v, v.set.documents, sc, item, documentRow)
}

// Document gives one.
func (v *Reader) Document(ctx context.Context, sc scope.Scope, id uuid.UUID) (DocumentRow, error) {
	d, err := get(ctx, v, v.set.documents, sc, lab.KindDocument, id)
	if err != nil {
		return DocumentRow{}, err
	}
	return documentRow(d), nil
}

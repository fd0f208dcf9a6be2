package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// PhotoRow is one photo; one that was taken off is Withdrawn.
type PhotoRow struct {
	Head
	Photo lab.Photo
	Bytes record.Attachment // zero when the record came without
}

func photoTable() *index.Table[doc[lab.Photo]] {
	type row = doc[lab.Photo]
	return &index.Table[row]{Name: "view.photo", Key: keyOf[lab.Photo], Indexes: []index.Index[row]{
		{Name: byShot, Keys: func(d *row) [][]byte {
			if b := d.body(); b != nil && b.Shot != uuid.Nil {
				return one(d.Lab[:], b.Shot[:], when(b.EffectiveAt))
			}
			return nil
		}},
		{Name: bySpecimen, Keys: func(d *row) [][]byte {
			if b := d.body(); b != nil && b.Shot == uuid.Nil {
				return one(d.Lab[:], kv.Str(lab.Fold(b.Specimen)), when(b.EffectiveAt))
			}
			return nil
		}},
	}}
}

func photoRow(d *doc[lab.Photo]) PhotoRow {
	p := PhotoRow{Head: d.head(), Photo: *d.body()}
	for _, a := range d.Made.Attachments {
		if a.Role == lab.RolePhoto && a.SHA256 == p.Photo.SHA256 {
			p.Bytes = a
		}
	}
	return p
}

// Photos gives the photos of a shot, or with the zero shot those of a specimen
// that belong to no shot, oldest first, without those that were taken off; at
// most MaxLimit.
func (v *Reader) Photos(ctx context.Context, sc scope.Scope, shot uuid.UUID, specimen string) ([]PhotoRow, error) {
	q := query[doc[lab.Photo]]{
		table: v.set.photos, index: byShot,
		prefix: func(id record.LabID) []byte { return kv.Join(id[:], shot[:]) },
		key:    func(d *doc[lab.Photo]) []byte { return when(d.body().EffectiveAt) },
		keep:   func(d *doc[lab.Photo]) bool { return d.stands() },
	}
	if shot == uuid.Nil {
		q.index = bySpecimen
		q.prefix = func(id record.LabID) []byte { return kv.Join(id[:], kv.Str(lab.Fold(specimen))) }
	}
	l, err := list(ctx, v, sc, q, Page{Limit: MaxLimit}, photoRow)
	return l.Rows, err
}

// Photo gives one photo.
func (v *Reader) Photo(ctx context.Context, sc scope.Scope, id uuid.UUID) (PhotoRow, error) {
	d, err := get(ctx, v, v.set.photos, sc, lab.KindPhoto, id)
	if err != nil {
		return PhotoRow{}, err
	}
	return photoRow(d), nil
}

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

const byFailed = "failed" // lab, specimen; of inspections that hold

// InspectionRow is one inspection. One that was corrected is Replaced and
// stays in the history.
type InspectionRow struct {
	Head
	Inspection  lab.Inspection
	Attachments []record.Attachment
}

// Replaced says that a later record corrects it.
func (r *InspectionRow) Replaced() bool { return r.Withdrawn != nil }

// InspectionFilter narrows the list of inspections; all but Standing are
// answered from an index. Where both are given, Shot goes before Specimen.
type InspectionFilter struct {
	Specimen string
	Shot     uuid.UUID
	From, To lab.Time // when it was looked at, From <= t < To; zero: no bound
	Standing bool     // without those that were corrected
	Oldest   bool     // oldest first; else newest first
}

func inspectionTable() *index.Table[doc[lab.Inspection]] {
	type row = doc[lab.Inspection]
	keys := func(f func(*row, *lab.Inspection) [][]byte) func(*row) [][]byte {
		return func(d *row) [][]byte {
			if b := d.body(); b != nil {
				return f(d, b)
			}
			return nil
		}
	}
	return &index.Table[row]{Name: "view.inspection", Key: keyOf[lab.Inspection], Indexes: []index.Index[row]{
		{Name: byTime, Keys: keys(func(d *row, b *lab.Inspection) [][]byte { return one(d.Lab[:], when(b.EffectiveAt)) })},
		{Name: bySpecimen, Keys: keys(func(d *row, b *lab.Inspection) [][]byte {
			return one(d.Lab[:], kv.Str(lab.Fold(b.Specimen)), when(b.EffectiveAt))
		})},
		{Name: byShot, Keys: keys(func(d *row, b *lab.Inspection) [][]byte { return one(d.Lab[:], b.Shot[:], when(b.EffectiveAt)) })},
		{Name: byFailed, Keys: keys(func(d *row, b *lab.Inspection) [][]byte {
			if !d.stands() || b.Verdict != lab.VerdictFailed {
				return nil
			}
			return one(d.Lab[:], kv.Str(lab.Fold(b.Specimen)))
		})},
	}}
}

// correcting takes in a record that states a document and names others that it
// replaces.
func correcting[B any, P interface {
	*B
	lab.Body
}](tx kv.Tx, t *index.Table[doc[B]], r *record.Record, corrects func(*B) []uuid.UUID) error {
	b, err := read[B, P](r)
	if err != nil {
		return err
	}
	if err := stating[B, P](tx, t, r); err != nil {
		return err
	}
	for _, id := range corrects(b) {
		if id == r.UID {
			continue
		}
		if err := mark(tx, t, r, id, Mark{Reason: "corrected", By: r.UID}); err != nil {
			return err
		}
	}
	return nil
}

func inspectionRow(d *doc[lab.Inspection]) InspectionRow {
	return InspectionRow{Head: d.head(), Inspection: *d.body(), Attachments: d.Made.Attachments}
}

// Inspections lists inspections by the time at which they were made.
func (v *Reader) Inspections(ctx context.Context, sc scope.Scope, f InspectionFilter, page Page) (List[InspectionRow], error) {
	q := query[doc[lab.Inspection]]{
		table: v.set.inspections, index: byTime, prefix: labOnly, back: !f.Oldest,
		key:  func(d *doc[lab.Inspection]) []byte { return when(d.body().EffectiveAt) },
		keep: func(d *doc[lab.Inspection]) bool { return !f.Standing || d.stands() },
	}
	specimen := lab.Fold(f.Specimen)
	switch {
	case f.Shot != uuid.Nil:
		q.index = byShot
		q.prefix = func(id record.LabID) []byte { return kv.Join(id[:], f.Shot[:]) }
		if specimen != "" {
			keep := q.keep
			q.keep = func(d *doc[lab.Inspection]) bool { return keep(d) && lab.Fold(d.body().Specimen) == specimen }
		}
	case specimen != "":
		q.index = bySpecimen
		q.prefix = func(id record.LabID) []byte { return kv.Join(id[:], kv.Str(specimen)) }
	}
	q.from, q.to = bounds(f.From, f.To)
	return list(ctx, v, sc, q, page, inspectionRow)
}

// bounds are the ends of a span of time in an index; zero: no bound.
func bounds(from, to lab.Time) (lo, hi []byte) {
	if from != 0 {
		lo = when(from)
	}
	if to != 0 {
		hi = when(to)
	}
	return lo, hi
}

// Inspection gives one inspection.
func (v *Reader) Inspection(ctx context.Context, sc scope.Scope, id uuid.UUID) (InspectionRow, error) {
	d, err := get(ctx, v, v.set.inspections, sc, lab.KindInspection, id)
	if err != nil {
		return InspectionRow{}, err
	}
	return inspectionRow(d), nil
}

// SpecimensOut gives the specimens of a campaign that failed an inspection
// which no later record corrects, whichever campaign that was made for: a
// broken guard is broken. Keys are folded names (see lab.Fold); of several
// inspections the latest stands there. also names further ids under which the
// same lab once wrote.
func (v *Reader) SpecimensOut(ctx context.Context, sc scope.Scope, campaign uuid.UUID, also ...record.LabID) (out map[string]InspectionRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.campaigns, sc, campaign)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindCampaign, campaign)
		}
		labs, _ := sc.Only(append(also, d.Lab)...).List()
		out = map[string]InspectionRow{}
		for _, name := range d.body().Specimens {
			row, err := v.set.failed(r, labs, name)
			if err != nil {
				return err
			}
			if row != nil {
				out[lab.Fold(name)] = *row
			}
		}
		return nil
	})
	return out, err
}

// SpecimenOut gives the inspection that a specimen failed, nil when it failed none
// that holds.
func (v *Reader) SpecimenOut(ctx context.Context, sc scope.Scope, specimen string, also ...record.LabID) (row *InspectionRow, err error) {
	labs, _ := sc.Only(also...).List()
	err = v.store.View(ctx, func(r kv.Reader) error {
		row, err = v.set.failed(r, labs, specimen)
		return err
	})
	return row, err
}

// failed gives the latest inspection that holds and that a specimen failed.
func (s *Set) failed(r kv.Reader, labs []record.LabID, specimen string) (*InspectionRow, error) {
	var last *doc[lab.Inspection]
	for _, id := range labs {
		key := kv.Join(id[:], kv.Str(lab.Fold(specimen)))
		for d, err := range s.inspections.ScanIndex(r, byFailed, key, kv.Join(key, []byte{0}), false) {
			if err != nil {
				return nil, err
			}
			if last == nil || d.body().EffectiveAt > last.body().EffectiveAt {
				last = d
			}
		}
	}
	if last == nil {
		return nil, nil
	}
	row := inspectionRow(last)
	return &row, nil
}

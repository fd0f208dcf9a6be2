package view

import (
	"context"

	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// NoteRow is one entry of the log. One that was corrected is Replaced.
type NoteRow struct {
	Head
	Note lab.Note
}

// Replaced says that a later record corrects it.
func (r *NoteRow) Replaced() bool { return r.Withdrawn != nil }

// LogFilter narrows the parts of the log.
type LogFilter struct {
	From, To lab.Time // From <= t < To; zero: no bound
	Topic    string   // of notes; "": all
}

// inTime is an index of all documents of a lab by time, also of those that
// were withdrawn.
func inTime[B any](at func(*B) lab.Time) index.Index[doc[B]] {
	return index.Index[doc[B]]{Name: byTime, Keys: func(d *doc[B]) [][]byte {
		if b := d.body(); b != nil {
			return one(d.Lab[:], when(at(b)))
		}
		return nil
	}}
}

func noteTime(n *lab.Note) lab.Time         { return n.EffectiveAt }
func serviceTime(s *lab.Service) lab.Time   { return s.EffectiveAt }
func mountingTime(m *lab.Mounting) lab.Time { return m.EffectiveAt }

func calibrationTime(k *lab.Calibration) lab.Time { return k.EffectiveAt }

func noteTable() *index.Table[doc[lab.Note]] {
	return &index.Table[doc[lab.Note]]{Name: "view.note", Key: keyOf[lab.Note], Indexes: []index.Index[doc[lab.Note]]{inTime(noteTime)}}
}

// newestFirst is the query of documents by time.
func newestFirst[B any](t *index.Table[doc[B]], f LogFilter, at func(*B) lab.Time) query[doc[B]] {
	q := query[doc[B]]{table: t, index: byTime, prefix: labOnly, back: true, key: func(d *doc[B]) []byte { return when(at(d.body())) }}
	q.from, q.to = bounds(f.From, f.To)
	return q
}

// Notes lists the entries of the log, newest first, corrected ones too.
func (v *Reader) Notes(ctx context.Context, sc scope.Scope, f LogFilter, page Page) (List[NoteRow], error) {
	q := newestFirst(v.set.notes, f, noteTime)
	if f.Topic != "" {
		q.keep = func(d *doc[lab.Note]) bool { return d.body().Topic == f.Topic }
	}
	return list(ctx, v, sc, q, page, func(d *doc[lab.Note]) NoteRow { return NoteRow{Head: d.head(), Note: *d.body()} })
}

// ServicesDone lists the services of all items, newest first, withdrawn ones too.
func (v *Reader) ServicesDone(ctx context.Context, sc scope.Scope, f LogFilter, page Page) (List[ServiceRow], error) {
	return list(ctx, v, sc, newestFirst(v.set.services, f, serviceTime), page, func(d *doc[lab.Service]) ServiceRow {
		return ServiceRow{Head: d.head(), Service: *d.body()}
	})
}

// MountingsDone lists the mountings of all rigs, newest first, withdrawn ones too.
func (v *Reader) MountingsDone(ctx context.Context, sc scope.Scope, f LogFilter, page Page) (List[MountingRow], error) {
	return list(ctx, v, sc, newestFirst(v.set.mountings, f, mountingTime), page, func(d *doc[lab.Mounting]) MountingRow {
		return MountingRow{Head: d.head(), Mounting: *d.body()}
	})
}

// CertificatesMade lists the certificates of all items, newest calibration first,
// withdrawn ones too.
func (v *Reader) CertificatesMade(ctx context.Context, sc scope.Scope, f LogFilter, page Page) (List[CalibrationRow], error) {
	return list(ctx, v, sc, newestFirst(v.set.calibrations, f, calibrationTime), page, calibrationRow)
}

// VoidedRow says that a shot was made void, or with Lifted that it counts again. Its
// head is that of the word, its id that of the shot.
type VoidedRow struct {
	Head
	Void lab.Void
}

// VoidsMade lists when shots were made void or counted again, newest first, by when it
// was said.
func (v *Reader) VoidsMade(ctx context.Context, sc scope.Scope, f LogFilter, page Page) (List[VoidedRow], error) {
	q := query[voidRow]{table: v.set.voids, index: byTime, prefix: labOnly, back: true, key: voidTime}
	q.from, q.to = bounds(f.From, f.To)
	return list(ctx, v, sc, q, page, func(d *voidRow) VoidedRow {
		return VoidedRow{Head: Head{ID: d.Void.Shot, Lab: d.Lab, Author: d.Author, RecordedAt: utc(d.WallNS), stamp: d.Stamp}, Void: d.Void}
	})
}

// Note gives one entry of the log.
func (v *Reader) Note(ctx context.Context, sc scope.Scope, id [16]byte) (NoteRow, error) {
	d, err := get(ctx, v, v.set.notes, sc, lab.KindNote, id)
	if err != nil {
		return NoteRow{}, err
	}
	return NoteRow{Head: d.head(), Note: *d.body()}, nil
}

// Service gives one service.
func (v *Reader) Service(ctx context.Context, sc scope.Scope, id [16]byte) (ServiceRow, error) {
	d, err := get(ctx, v, v.set.services, sc, lab.KindService, id)
	if err != nil {
		return ServiceRow{}, err
	}
	return ServiceRow{Head: d.head(), Service: *d.body()}, nil
}

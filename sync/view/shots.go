package view

import (
	"cmp"
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// ShotFilter narrows the list of shots. Specimen, Rig and the times are
// answered from an index; the rest passes over the rows that do not fit.
type ShotFilter struct {
	Specimen string
	Rig      uuid.UUID
	From, To lab.Time // effective time, From <= t < To; zero: no bound
	Location string
	Kind     string // lab.ShotHit, …
	Void     *bool
	Flagged  *bool // has a flag or an error
	Oldest   bool  // oldest first; else newest first
	// Arrival lists in the order in which shots were recorded, whatever their
	// clocks said. Specimen and the times are then not looked at.
	Arrival bool
}

// Shots lists shots by effective time, or by arrival.
func (v *Reader) Shots(ctx context.Context, sc scope.Scope, f ShotFilter, page Page) (List[ShotRow], error) {
	q := query[doc[lab.Shot]]{
		table: v.set.shots, index: byTime, prefix: labOnly, back: !f.Oldest,
		key: shotTime, keep: f.keep(),
	}
	if f.Arrival {
		q.index, q.key = byArrival, func(d *doc[lab.Shot]) []byte { return d.Made.Stamp.key() }
		return list(ctx, v, sc, q, page, shotRow)
	}
	switch {
	case f.Specimen != "":
		q.index = bySpecimen
		q.prefix = func(id record.LabID) []byte { return kv.Join(id[:], kv.Str(lab.Fold(f.Specimen))) }
	case f.Rig != uuid.Nil:
		q.index = byRig
		q.prefix = func(id record.LabID) []byte { return kv.Join(id[:], f.Rig[:]) }
	}
	if f.From != 0 {
		q.from = when(f.From)
	}
	if f.To != 0 {
		q.to = when(f.To)
	}
	return list(ctx, v, sc, q, page, shotRow)
}

func shotTime(d *doc[lab.Shot]) []byte { return when(d.body().EffectiveAt) }

func (f ShotFilter) keep() func(*doc[lab.Shot]) bool {
	location := lab.Fold(f.Location)
	return func(d *doc[lab.Shot]) bool {
		b := d.body()
		flagged := d.Figures != nil && (len(d.Figures.Figures.Flags) > 0 || d.Figures.Figures.Error != "")
		return (f.Rig == uuid.Nil || b.Rig == f.Rig) &&
			(f.Kind == "" || b.Kind == f.Kind) &&
			(location == "" || lab.Fold(b.Location) == location) &&
			(f.Void == nil || *f.Void != d.stands()) &&
			(f.Flagged == nil || *f.Flagged == flagged)
	}
}

func shotRow(d *doc[lab.Shot]) ShotRow {
	r := ShotRow{Head: d.head(), Shot: *d.body(), Attachments: d.Made.Attachments}
	if d.Figures != nil {
		r.Figures = new(d.Figures.Figures)
	}
	return r
}

// Shot gives one shot.
func (v *Reader) Shot(ctx context.Context, sc scope.Scope, id uuid.UUID) (ShotRow, error) {
	d, err := get(ctx, v, v.set.shots, sc, lab.KindShot, id)
	if err != nil {
		return ShotRow{}, err
	}
	return shotRow(d), nil
}

// Scores lists the scores of a shot, newest first, at most MaxLimit: the first
// is the one shown. A shot that is not scored yet has none.
func (v *Reader) Scores(ctx context.Context, sc scope.Scope, shot uuid.UUID) (out []ScoreRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		d, err := find(r, v.set.shots, sc, shot)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindShot, shot)
		}
		key := docKey(shot, d.Lab)
		for s, err := range v.set.scores.Scan(r, key, kv.PrefixEnd(key), true) {
			if err != nil || len(out) == MaxLimit {
				return err
			}
			out = append(out, ScoreRow{Stamp: s.Stamp, Author: s.Author, RecordedAt: utc(s.WallNS), Score: s.Score})
		}
		return nil
	})
	return out, err
}

// ToAssign lists the shots that wait for specimen, location or target speed,
// newest first. Dry strokes, system checks and void shots do not wait.
func (v *Reader) ToAssign(ctx context.Context, sc scope.Scope, page Page) (List[ShotRow], error) {
	q := query[doc[lab.Shot]]{table: v.set.shots, index: byAssign, prefix: labOnly, key: shotTime, back: true}
	return list(ctx, v, sc, q, page, shotRow)
}

// Source says what the store knows of some bytes.
type Source struct {
	Shot       uuid.UUID // zero: no shot
	Quarantine uuid.UUID // zero: not in quarantine
	Lab        record.LabID
	FileName   string
	FileTime   lab.Time
}

// FindSource looks bytes up by their SHA-256 sum: the shot that they are, or
// else the quarantine they are in; ok is false when they are new. It works
// within a transaction of the caller, so that looking up and storing are one.
func (s *Set) FindSource(r kv.Reader, sc scope.Scope, sum record.Hash) (src Source, ok bool, err error) {
	next := kv.Join(sum[:], []byte{0})
	for d, err := range s.shots.ScanIndex(r, bySource, sum[:], next, false) {
		if err != nil {
			return Source{}, false, err
		}
		if sc.Allows(d.Lab) {
			b := d.body()
			return Source{Shot: d.UID, Lab: d.Lab, FileName: b.FileName, FileTime: b.FileTime}, true, nil
		}
	}
	for d, err := range s.quarantine.ScanIndex(r, bySource, sum[:], next, false) {
		if err != nil {
			return Source{}, false, err
		}
		if sc.Allows(d.Lab) {
			b := d.body()
			return Source{Quarantine: d.UID, Lab: d.Lab, FileName: b.FileName, FileTime: b.FileTime}, true, nil
		}
	}
	return Source{}, false, nil
}

// KnownSighting says whether a shot's bytes were already noted under this name
// and file time: as the shot itself, or as a sighting of it. It works within a
// transaction of the caller.
func (s *Set) KnownSighting(r kv.Reader, sc scope.Scope, shot uuid.UUID, fileName string, fileTime lab.Time) (bool, error) {
	d, err := find(r, s.shots, sc, shot)
	if err != nil || d == nil {
		return false, err
	}
	if b := d.body(); b.FileName == fileName && b.FileTime == fileTime {
		return true, nil
	}
	for g, err := range s.sightings.ScanIndex(r, byShot, shot[:], kv.PrefixEnd(shot[:]), false) {
		if err != nil {
			return false, err
		}
		if b := g.body(); sc.Allows(g.Lab) && b.FileName == fileName && b.FileTime == fileTime {
			return true, nil
		}
	}
	return false, nil
}

// SightingFilter narrows the list of sightings.
type SightingFilter struct {
	Open bool // only those that a person has to settle
}

// Sightings lists known bytes that were seen again, newest first.
func (v *Reader) Sightings(ctx context.Context, sc scope.Scope, f SightingFilter, page Page) (List[SightingRow], error) {
	q := query[doc[lab.Sighting]]{
		table: v.set.sightings, index: byTime, prefix: labOnly, back: true,
		key: func(d *doc[lab.Sighting]) []byte { return when(d.body().EffectiveAt) },
	}
	if f.Open {
		q.index = byOpen
	}
	return list(ctx, v, sc, q, page, sightingRow)
}

// SightingsOf lists the sightings of one shot, oldest first, at most MaxLimit.
func (v *Reader) SightingsOf(ctx context.Context, sc scope.Scope, shot uuid.UUID) (out []SightingRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		if d, err := find(r, v.set.shots, sc, shot); err != nil || d == nil {
			return cmp.Or(err, notFound(lab.KindShot, shot))
		}
		for d, err := range v.set.sightings.ScanIndex(r, byShot, shot[:], kv.PrefixEnd(shot[:]), false) {
			if err != nil || len(out) == MaxLimit {
				return err
			}
			if sc.Allows(d.Lab) {
				out = append(out, sightingRow(d))
			}
		}
		return nil
	})
	return out, err
}

// Sighting gives one sighting.
func (v *Reader) Sighting(ctx context.Context, sc scope.Scope, id uuid.UUID) (SightingRow, error) {
	d, err := get(ctx, v, v.set.sightings, sc, lab.KindSighting, id)
	if err != nil {
		return SightingRow{}, err
	}
	return sightingRow(d), nil
}

func sightingRow(d *doc[lab.Sighting]) SightingRow {
	r := SightingRow{Head: d.head(), Sighting: *d.body()}
	r.Withdrawn = nil // the mark of a sighting settles it
	if d.Mark != nil {
		r.Settled = new(*d.Mark)
	}
	return r
}

// Quarantine lists bytes in which nothing can be read, newest first; with
// all also those that a person has settled.
func (v *Reader) Quarantine(ctx context.Context, sc scope.Scope, all bool, page Page) (List[QuarantineRow], error) {
	q := query[doc[lab.Quarantine]]{
		table: v.set.quarantine, index: byOpen, prefix: labOnly, back: true,
		key: func(d *doc[lab.Quarantine]) []byte { return when(received(d)) },
	}
	if all {
		q.index = byTime
	}
	return list(ctx, v, sc, q, page, quarantineRow)
}

// Quarantined gives one entry of the quarantine.
func (v *Reader) Quarantined(ctx context.Context, sc scope.Scope, id uuid.UUID) (QuarantineRow, error) {
	d, err := get(ctx, v, v.set.quarantine, sc, lab.KindQuarantine, id)
	if err != nil {
		return QuarantineRow{}, err
	}
	return quarantineRow(d), nil
}

func quarantineRow(d *doc[lab.Quarantine]) QuarantineRow {
	h := d.head()
	r := QuarantineRow{Head: h, Quarantine: *d.body(), Settled: h.Withdrawn}
	r.Withdrawn = nil
	return r
}

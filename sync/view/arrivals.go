package view

import (
	"cmp"
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

func sightingTable() *index.Table[doc[lab.Sighting]] {
	type row = doc[lab.Sighting]
	open := func(d *row) bool { return d.shown() && d.Mark == nil }
	wears := func(d *row) bool { return d.shown() && d.Mark != nil && d.Mark.Count }
	return &index.Table[row]{
		Name: "view.sighting",
		Key:  keyOf[lab.Sighting],
		Indexes: []index.Index[row]{
			{Name: byTime, Keys: func(d *row) [][]byte { return timed(d, d.shown()) }},
			{Name: byOpen, Keys: func(d *row) [][]byte { return timed(d, open(d)) }},
			{Name: byShot, Keys: func(d *row) [][]byte {
				if !d.shown() {
					return nil
				}
				return one(d.body().Shot[:], when(d.body().EffectiveAt))
			}},
			{Name: byRig, Keys: func(d *row) [][]byte {
				if !wears(d) {
					return nil
				}
				return one(d.Lab[:], d.body().Rig[:], when(d.body().EffectiveAt))
			}},
		},
		Tallies: []index.Tally[row]{
			{Name: byOpen, Of: func(d *row) []index.Count { return countIf(open(d), d.Lab[:]) }},
			{Name: perDay, Of: func(d *row) []index.Count {
				if !wears(d) {
					return nil
				}
				return countIf(true, d.body().Rig[:], d.Lab[:], day(d.body().EffectiveAt))
			}},
		},
	}
}

func timed(d *doc[lab.Sighting], yes bool) [][]byte {
	if !yes {
		return nil
	}
	return one(d.Lab[:], when(d.body().EffectiveAt))
}

func quarantineTable() *index.Table[doc[lab.Quarantine]] {
	type row = doc[lab.Quarantine]
	open := func(d *row) bool { return d.shown() && (d.Mark == nil || d.Mark.Lifted) }
	return &index.Table[row]{
		Name: "view.quarantine",
		Key:  keyOf[lab.Quarantine],
		Indexes: []index.Index[row]{
			{Name: byTime, Keys: func(d *row) [][]byte {
				if !d.shown() {
					return nil
				}
				return one(d.Lab[:], when(received(d)))
			}},
			{Name: byOpen, Keys: func(d *row) [][]byte {
				if !open(d) {
					return nil
				}
				return one(d.Lab[:], when(received(d)))
			}},
			{Name: bySource, Keys: func(d *row) [][]byte {
				if !d.shown() {
					return nil
				}
				return one(d.body().SourceSHA256[:])
			}},
		},
		Tallies: []index.Tally[row]{
			{Name: byOpen, Of: func(d *row) []index.Count { return countIf(open(d), d.Lab[:]) }},
		},
	}
}

// received orders the list of quarantined bytes; it dates nothing.
func received(d *doc[lab.Quarantine]) lab.Time { return lab.Time(d.Made.WallNS / 1e6) }

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

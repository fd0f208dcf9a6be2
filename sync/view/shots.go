package view

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/metrics/score"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// ShotFilter narrows the list of shots. Specimen, Specimens, Rig and the times
// are answered from an index; the rest passes over the rows that do not fit.
type ShotFilter struct {
	Specimen  string
	Specimens []string // any of these, as those of a campaign; nil: any at all
	Rig       uuid.UUID
	From, To  lab.Time // effective time, From <= t < To; zero: no bound
	Location  string
	Kind      string // lab.ShotHit, …
	Void      *bool
	Oldest    bool // oldest first; else newest first
	// Arrival lists in the order in which shots were recorded, whatever their
	// clocks said. Specimens and the times are then not looked at.
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
	case f.Specimen != "" || f.Specimens != nil:
		q.index = bySpecimen
		names := f.specimens()
		q.parts = func(id record.LabID) (out [][]byte) {
			for _, name := range names {
				out = append(out, kv.Join(id[:], kv.Str(name)))
			}
			return out
		}
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

// specimens gives the folded names that fit, each once.
func (f *ShotFilter) specimens() []string {
	one := lab.Fold(f.Specimen)
	if f.Specimens == nil {
		return []string{one}
	}
	var out []string
	for _, s := range f.Specimens {
		if s = lab.Fold(s); s != "" && (one == "" || s == one) {
			out = append(out, s)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func shotTime(d *doc[lab.Shot]) []byte { return when(d.body().EffectiveAt) }

func (f ShotFilter) keep() func(*doc[lab.Shot]) bool {
	location := lab.Fold(f.Location)
	return func(d *doc[lab.Shot]) bool {
		b := d.body()
		return (f.Rig == uuid.Nil || b.Rig == f.Rig) &&
			(f.Kind == "" || b.Kind == f.Kind) &&
			(location == "" || lab.Fold(b.Location) == location) &&
			(f.Void == nil || *f.Void != d.stands())
	}
}

func shotRow(d *doc[lab.Shot]) ShotRow {
	r := ShotRow{Head: d.head(), Shot: *d.body(), AsMade: d.Made.Body, Attachments: d.Made.Attachments}
	if d.Figures != nil {
		r.Figures, r.ScoreTurn, r.scored = new(d.Figures.Figures), d.Figures.Turn, d.Figures.Stamp
		r.scoredBy = d.Figures.Map
		r.Figures.Flags = slices.DeleteFunc(slices.Clone(r.Figures.Flags), func(code string) bool { return answered(&r.Shot, code) })
	}
	return r
}

// answered says that what a shot is recorded as answers a flag: a second file that is
// a stroke of its own, and a dry stroke, which is to show no more than noise.
func answered(s *lab.Shot, code string) bool {
	switch code {
	case lab.FlagSecondFile:
		return ownStroke(s)
	case string(score.NoImpact), string(score.NoiseFloor), string(score.UncertaintyUnknown):
		return s.Kind == lab.ShotDry
	}
	return false
}

// ownStroke says that somebody has said what a file was for which no shot had been
// confirmed: a stroke of its own. Who and when stands in its history.
func ownStroke(s *lab.Shot) bool {
	return s.Kind != lab.ShotSecondFile && (s.Kind != lab.ShotHit || s.Assigned())
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
		out, err = v.set.scoresOf(r, d.body(), docKey(shot, d.Lab))
		return err
	})
	return out, err
}

// Voids lists when a shot was made void or counted again, oldest first, at most
// MaxLimit; the last one holds.
func (v *Reader) Voids(ctx context.Context, sc scope.Scope, shot uuid.UUID) (out []VoidChange, err error) {
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
		for m, err := range v.set.voids.Scan(r, key, kv.PrefixEnd(key), false) {
			if err != nil || len(out) == MaxLimit {
				return err
			}
			out = append(out, VoidChange{Author: m.Author, RecordedAt: utc(m.WallNS), Reason: m.Void.Reason, Lifted: m.Void.Lifted})
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

// Incomplete lists the hits that stand and lack a channel, or acceleration or
// speed, newest first.
func (v *Reader) Incomplete(ctx context.Context, sc scope.Scope, page Page) (List[ShotRow], error) {
	q := query[doc[lab.Shot]]{table: v.set.shots, index: byGap, prefix: labOnly, key: shotTime, back: true}
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

// scoresAtOnce is of how many shots the scores are read in one transaction.
const scoresAtOnce = 256

// ScoresOf reads the scores of many shots, as Scores does for one, and hands
// them over in the order of the shots. Those outside the scope have none.
func (v *Reader) ScoresOf(ctx context.Context, sc scope.Scope, shots []ShotRow, each func(i int, scores []ScoreRow) error) error {
	for from := 0; from < len(shots); from += scoresAtOnce {
		some := shots[from:min(from+scoresAtOnce, len(shots))]
		all := make([][]ScoreRow, len(some))
		err := v.store.View(ctx, func(r kv.Reader) error {
			clear(all)
			for i := range some {
				if !sc.Allows(some[i].Lab) {
					continue
				}
				var err error
				if all[i], err = v.set.scoresOf(r, &some[i].Shot, docKey(some[i].ID, some[i].Lab)); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		for i := range all {
			if err := each(from+i, all[i]); err != nil {
				return err
			}
		}
	}
	return nil
}

// scoresOf reads the scores of a shot, the one that holds first, without the flags that
// are answered.
func (s *Set) scoresOf(r kv.Reader, shot *lab.Shot, key []byte) (out []ScoreRow, err error) {
	for x, err := range s.scores.Scan(r, key, kv.PrefixEnd(key), true) {
		if err != nil || len(out) == MaxLimit {
			return out, err
		}
		x.Score.Flags = slices.DeleteFunc(asTakenIn(x.Score.Flags), func(f lab.Flag) bool { return answered(shot, f.Code) })
		out = append(out, ScoreRow{Stamp: x.Stamp, Author: x.Author, RecordedAt: utc(x.WallNS), Score: x.Score, Map: x.Map})
	}
	return out, nil
}

// Package review scores shots again with what a review takes to have been the
// sensitivity of a sensor that was found outside its limits, and tells what was
// reported before from what is reported since.
package review

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/metrics/score"
	"thudbook/server/evidence"
	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
)

// Maker compares results under a review.
type Maker struct {
	Views    *view.Reader
	Evidence *evidence.Store
}

// StillAtRig says why a stroke cannot be scored yet.
const StillAtRig = "its bytes are still on the rig PC"

// Line is one stroke in the span in doubt.
type Line struct {
	Shot     view.ShotRow
	Position string     // where the sensor sat
	Held     float64    // sensitivity that the review takes to have held, in its unit
	Before   *lab.Score // reported without the review; nil: never scored
	After    *lab.Score // with the review; nil: see Why
	BeforeNo int        // which result of the shot these are, from 1; 0: none
	AfterNo  int
	Why      string // there is no After
}

// Touched lists every stroke with the item in the span of a review, oldest
// first, void ones and dry strokes too.
func (m *Maker) Touched(ctx context.Context, sc scope.Scope, r *lab.Review) ([]view.ShotRow, error) {
	all, err := m.Views.FiredWith(ctx, sc, r.Item, r.From, r.Until)
	slices.SortStableFunc(all, func(a, b view.ShotRow) int { return cmp.Compare(a.Shot.EffectiveAt, b.Shot.EffectiveAt) })
	return all, err
}

// Judge hands over what is known of each of many strokes, in their order: Stands
// or Try.
type Judge func(ctx context.Context, sc scope.Scope, id uuid.UUID, r *lab.Review, shots []view.ShotRow, each func(*Line) error) error

// one judges one stroke.
func one(ctx context.Context, by Judge, f *For, shot *view.ShotRow) (out Line, err error) {
	err = by(ctx, f.Scope, f.ID, f.Review, []view.ShotRow{*shot}, func(l *Line) error {
		out = *l
		return nil
	})
	return out, err
}

// Stands gives what is on record for each of many strokes, in their order: the
// last result without the review, and the last with it.
func (m *Maker) Stands(ctx context.Context, sc scope.Scope, id uuid.UUID, r *lab.Review, shots []view.ShotRow, each func(*Line) error) error {
	at, err := m.whereabouts(ctx, sc, r)
	if err != nil {
		return err
	}
	return m.Views.ScoresOf(ctx, sc, shots, func(i int, scores []view.ScoreRow) error {
		l := at.line(id, r, &shots[i], scores)
		return each(&l)
	})
}

// whereabouts is where the item of a review sat, and its certificates.
type whereabouts struct {
	sat          []view.Sat
	certificates []view.CalibrationRow // newest first
}

func (m *Maker) whereabouts(ctx context.Context, sc scope.Scope, r *lab.Review) (w whereabouts, err error) {
	if w.sat, err = m.Views.Sat(ctx, sc, r.Item, r.From, r.Until); err == nil {
		w.certificates, err = m.Views.Calibrations(ctx, sc, r.Item)
	}
	return w, err
}

// line judges what is on record for one stroke.
func (w *whereabouts) line(id uuid.UUID, r *lab.Review, shot *view.ShotRow, scores []view.ScoreRow) Line {
	at := shot.Shot.EffectiveAt
	l := Line{Shot: *shot, Held: r.SensitivityAt(at)}
	for _, s := range w.sat {
		if s.Rig == shot.Shot.Rig && s.From <= at && at < s.To {
			l.Position = s.Position
		}
	}
	rests := false
	if k := slices.IndexFunc(w.certificates, func(k view.CalibrationRow) bool { return k.Calibration.EffectiveAt <= at }); k >= 0 && l.Position != "" {
		rests = w.certificates[k].ID == r.Good
	}
	for i := range scores { // newest first
		s, no := &scores[i].Score, len(scores)-i
		switch with := slices.Contains(s.Reviews, id); {
		case with && l.After == nil && l.Before == nil:
			l.After, l.AfterNo = s, no
		case !with && l.Before == nil:
			l.Before, l.BeforeNo = s, no
		}
	}
	switch {
	case l.After != nil:
	case l.Before == nil:
		l.Why = "it has no result"
	case shot.Map() == record.Hash{}:
		l.Why = "its channel map is a guess, and takes no certificate"
	case !rests:
		l.Why = "another certificate holds for it"
	}
	return l
}

// Try is Stands with the results computed where they are not on record yet. It
// writes nothing.
func (m *Maker) Try(ctx context.Context, sc scope.Scope, id uuid.UUID, r *lab.Review, shots []view.ShotRow, each func(*Line) error) error {
	return m.Stands(ctx, sc, id, r, shots, func(l *Line) error {
		if l.After != nil || l.Why != "" {
			return each(l)
		}
		sensors, err := m.Views.SensorsOf(ctx, sc, l.Shot.ID)
		if err != nil {
			return err
		}
		with := scoring.Reviewed(scoring.InForceOf(sensors, l.Shot.Shot.EffectiveAt), id, r, l.Shot.Shot.EffectiveAt)
		if l.After, l.Why, err = m.score(ctx, sc, &l.Shot, with); err != nil {
			return err
		}
		l.AfterNo = l.BeforeNo + 1
		return each(l)
	})
}

// Plain scores a stroke by what is on record now, as after a review was withdrawn.
func (m *Maker) Plain(ctx context.Context, sc scope.Scope, shot *view.ShotRow) (*lab.Score, string, error) {
	sensors, err := m.Views.SensorsOf(ctx, sc, shot.ID)
	if err != nil {
		return nil, "", err
	}
	return m.score(ctx, sc, shot, scoring.InForceOf(sensors, shot.Shot.EffectiveAt))
}

// Stated scores a stroke whose results rest on another stated speed than the one
// that is recorded; no score and no reason where they rest on it.
func (m *Maker) Stated(ctx context.Context, sc scope.Scope, shot uuid.UUID) (*register.Result, string, error) {
	s, err := scoring.ByStated(ctx, m.Views, sc, shot)
	if err != nil || s == nil {
		return nil, "", err
	}
	b, why, err := m.compute(ctx, &s.Row, s.Job)
	if b == nil {
		return nil, why, err
	}
	s.Follow(b)
	return &register.Result{Shot: &s.Row, Score: b}, "", nil
}

// score gives the next score of a stroke by these certificates, with the flags of
// taking in, or why there is none.
func (m *Maker) score(ctx context.Context, sc scope.Scope, shot *view.ShotRow, by []score.Calibration) (*lab.Score, string, error) {
	job := scoring.JobOf(shot)
	job.Calibrations = by
	b, why, err := m.compute(ctx, shot, job)
	if b == nil {
		return nil, why, err
	}
	before, err := m.Views.Scores(ctx, sc, shot.ID)
	if err != nil {
		return nil, "", err
	}
	if len(before) > 0 {
		scoring.Carry(b, scoring.Kept(&before[0].Score, lab.FlagCalibrationUnread))
	}
	b.Turn = shot.ScoreTurn + 1
	return b, "", nil
}

// compute does one job of a stroke, or says why that cannot be done.
func (m *Maker) compute(ctx context.Context, shot *view.ShotRow, job scoring.Job) (*lab.Score, string, error) {
	s := scoring.Scorer{Blobs: m.Evidence.Of(shot.Lab)}
	b, err := s.Score(ctx, job)
	if err == nil {
		return b, "", nil
	}
	if ctx.Err() != nil {
		return nil, "", context.Cause(ctx)
	}
	if p, ok := problem.As(err); ok && (p.Code == problem.NotFound || p.Code == problem.Damaged) {
		if p.Code == problem.NotFound {
			return nil, StillAtRig, nil
		}
		return nil, p.What, nil
	}
	return nil, "", err
}

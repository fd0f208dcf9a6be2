package review_test

import (
	"context"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server/review"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// oneByOne judges a stroke by reading everything about it anew, as it was done
// before: what was mounted, each of its certificates, all results.
func oneByOne(ctx context.Context, v *view.Reader, sc scope.Scope, id uuid.UUID, r *lab.Review, shot *view.ShotRow) (review.Line, error) {
	l := review.Line{Shot: *shot, Held: r.SensitivityAt(shot.Shot.EffectiveAt)}
	sensors, err := v.SensorsOf(ctx, sc, shot.ID)
	if err != nil {
		return l, err
	}
	rests := false
	for i := range sensors {
		if k := sensors[i].Calibration.Calibration; sensors[i].Item != nil && sensors[i].Item.ID == r.Item {
			l.Position = sensors[i].Mounting.Mounting.Position
			rests = k != nil && k.ID == r.Good
		}
	}
	scores, err := v.Scores(ctx, sc, shot.ID)
	for i := range scores {
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
	return l, err
}

// sensor of the lab that newBench fills, its two certificates, and a review of
// all that was fired; a third certificate holds for the last part.
func underReview(t testing.TB, b *bench) *lab.Review {
	t.Helper()
	sensors, err := b.Reader.Items(t.Context(), b.f.Scope, lab.ClassSensor, view.Page{})
	if err != nil || len(sensors.Rows) == 0 {
		t.Fatal(err)
	}
	item := sensors.Rows[0].ID
	k, err := b.Reader.Calibrations(t.Context(), b.f.Scope, item)
	if err != nil || len(k) != 1 {
		t.Fatalf("%d certificates, %v", len(k), err)
	}
	shots := b.f.Shots
	from, until := shots[0].Shot.EffectiveAt-1, shots[len(shots)-1].Shot.EffectiveAt+1
	other := &lab.Calibration{Item: item, EffectiveAt: shots[len(shots)*3/4].Shot.EffectiveAt, DueAt: until + lab.DayMS, Certificate: "C-2"}
	labtest.Append(t, b.Ledger, b.f.Lab, labtest.Draft(t, labtest.ID("c 2"), other))
	return &lab.Review{Item: item, Good: k[0].ID, From: from, Until: until, GoodSensitivity: 1.02, FoundSensitivity: 1.1, SensitivityUnit: "mV/g", Course: lab.CourseWhole}
}

// Judging many strokes in one pass gives what judging each by itself gives.
func TestStandsEqualsOneByOne(t *testing.T) {
	b := newBench(t, 300)
	r, id := underReview(t, b), labtest.ID("review")
	for i := 5; i < 300; i += 7 { // some have a result under the review, some a later one without
		with := labtest.Score(b.f.Shots[i].ID, 5.5, func(s *lab.Score) { s.Reviews, s.Turn = []uuid.UUID{id}, 1 })
		labtest.Append(t, b.Ledger, b.f.Lab, labtest.Draft(t, b.f.Shots[i].ID, with))
		if i%2 == 0 {
			labtest.Append(t, b.Ledger, b.f.Lab, labtest.Draft(t, b.f.Shots[i].ID, labtest.Score(b.f.Shots[i].ID, 5.4, func(s *lab.Score) { s.Turn = 2 })))
		}
	}
	i, seen := 0, map[string]int{}
	err := b.maker.Stands(t.Context(), b.f.Scope, id, r, b.f.Shots, func(l *review.Line) error {
		want, err := oneByOne(t.Context(), b.Reader, b.f.Scope, id, r, &b.f.Shots[i])
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(*l, want) {
			t.Fatalf("stroke %d: %+v\nby itself %+v", i, *l, want)
		}
		if seen[l.Why]++; l.After != nil {
			seen["after"]++
		}
		i++
		return nil
	})
	if err != nil || i != 300 || seen["after"] == 0 || seen["another certificate holds for it"] == 0 || seen[""] == 0 {
		t.Errorf("%d strokes, %v, %v", i, seen, err)
	}
}

// BenchmarkStands reads what a review needs of its strokes in one pass; the
// baseline in the same run reads them one by one.
func BenchmarkStands(b *testing.B) {
	w := newBench(b, 50_000)
	r, id := underReview(b, w), labtest.ID("review")
	var before, now time.Duration
	for b.Loop() {
		began := time.Now()
		for i := range w.f.Shots {
			if _, err := oneByOne(b.Context(), w.Reader, w.f.Scope, id, r, &w.f.Shots[i]); err != nil {
				b.Fatal(err)
			}
		}
		before += time.Since(began)
		began = time.Now()
		n := 0
		if err := w.maker.Stands(b.Context(), w.f.Scope, id, r, w.f.Shots, func(*review.Line) error { n++; return nil }); err != nil || n != len(w.f.Shots) {
			b.Fatalf("%d strokes, %v", n, err)
		}
		now += time.Since(began)
	}
	b.ReportMetric(float64(before)/float64(now), "times-faster")
	b.ReportMetric(now.Seconds()/float64(b.N), "s/50000-shots")
}

package view_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
)

// A sensor that gave 10 mV/g on day 0 and 10.4 on day 10, four per cent against
// uncertainties of one each: found out of limits, until somebody reviews it. The
// review then holds for the shots in between while the sensor sat at the rig,
// whichever arrived first, and for none when it is withdrawn.
func TestReviewOfASensitivity(t *testing.T) {
	w := openWorld(t)
	day := func(d float64) lab.Time {
		return lab.At(labtest.Start()).Add(time.Duration(d * 24 * float64(time.Hour)))
	}
	good, found, review := labtest.ID("good"), labtest.ID("found"), labtest.ID("review")
	w.say(review, &lab.Review{Item: sensor1, Found: found, Good: good, From: day(0), Until: day(10), GoodSensitivity: 10, FoundSensitivity: 10.4, SensitivityUnit: "mV/g",
		Course: lab.CourseLinear, Why: "it drifts"})
	w.say(sensor1, &lab.Item{Class: lab.ClassSensor, Serial: "A-1", CalibrationRequired: true})
	w.say(labtest.ID("m1"), &lab.Mounting{Rig: rig1, Position: "ax", Item: sensor1, EffectiveAt: day(1)})
	w.say(labtest.ID("m2"), &lab.Mounting{Rig: rig2, Position: "ay", Item: sensor1, EffectiveAt: day(5)})
	calibration := func(s, u float64, name string, d float64) *lab.Calibration {
		return &lab.Calibration{Item: sensor1, EffectiveAt: day(d), DueAt: day(d + 300), Certificate: name, Sensitivity: &s, SensitivityUnit: "mV/g", ExpandedUncertaintyPercent: &u}
	}
	w.say(good, calibration(10, 1, "K-1", 0))
	w.say(found, calibration(10.4, 1, "K-2", 10))
	for name, at := range map[string]struct {
		rig uuid.UUID
		d   float64
	}{"before": {rig1, 0.5}, "a": {rig1, 2}, "elsewhere": {rig2, 4.9}, "gone": {rig1, 6}, "b": {rig2, 7.5}, "after": {rig2, 10}} {
		w.say(labtest.ID("shot", name), labtest.Shot(at.rig, day(at.d).Time()))
	}
	out, err := w.FoundOut(t.Context(), scope.All(), sensor1)
	if err != nil || len(out) != 1 || out[0].Found.ID != found || out[0].Good.ID != good || out[0].Review == nil || out[0].Review.ID != review {
		t.Fatalf("%+v, %v", out, err)
	}
	if s := out[0].State; s.ChangePercent < 3.999 || s.ChangePercent > 4.001 || s.LimitPercent < 1.44 || s.LimitPercent > 1.45 { // √(1.04² + 1²)
		t.Errorf("found %+v", s)
	}
	shots, err := w.FiredWith(t.Context(), scope.All(), sensor1, day(0), day(10))
	if err != nil || len(shots) != 2 || shots[0].ID != labtest.ID("shot", "a") || shots[1].ID != labtest.ID("shot", "b") {
		t.Fatalf("fired with it: %d, %v", len(shots), err)
	}
	at := func(d float64) *float64 {
		k, err := w.CalibrationAt(t.Context(), scope.All(), sensor1, day(d))
		if err != nil {
			t.Fatal(err)
		}
		if k.Review == nil {
			return nil
		}
		return new(k.Review.Review.SensitivityAt(day(d)))
	}
	for d, want := range map[float64]float64{0: 10, 2.5: 10.1, 7.5: 10.3} {
		if got := at(d); got == nil || *got < want-1e-9 || *got > want+1e-9 {
			t.Errorf("day %g: %v, want %g", d, got, want)
		}
	}
	if got := at(10); got != nil {
		t.Errorf("after the calibration that found it: %v", *got)
	}
	// a second review takes the first one's place; withdrawn, the first holds again
	w.say(labtest.ID("second"), &lab.Review{Item: sensor1, Found: found, Good: good, From: day(0), Until: day(10), GoodSensitivity: 10, FoundSensitivity: 10.4, SensitivityUnit: "mV/g",
		Course: lab.CourseStep, StepAt: day(5), Why: "it fell on day 5"})
	if a, b := at(4.9), at(5); a == nil || b == nil || *a != 10 || *b != 10.4 {
		t.Errorf("a step on day 5: %v before, %v then", a, b)
	}
	w.say(labtest.ID("second"), &lab.Withdrawn{Doc: labtest.ID("second"), DocKind: lab.KindReview, Reason: "it did not fall"})
	if got := at(5); got == nil || *got != 10.2 {
		t.Errorf("the first one again: %v", got)
	}
	w.say(review, &lab.Withdrawn{Doc: review, DocKind: lab.KindReview, Reason: "another sensor"})
	if out, err := w.FoundOut(t.Context(), scope.All(), sensor1); err != nil || at(5) != nil || len(out) != 1 || out[0].Review != nil {
		t.Errorf("withdrawn: %v, %+v, %v", at(5), out, err)
	}
	if out, err := w.FoundOut(t.Context(), allOf(labB), sensor1); problem.Of(err) != problem.NotFound || len(out) != 0 {
		t.Errorf("another lab: %+v, %v", out, err)
	}
}

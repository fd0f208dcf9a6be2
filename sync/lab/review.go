package lab

import (
	"fmt"
	"math"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// KindReview is the review of a sensor whose sensitivity had left its limits.
const KindReview record.Kind = "sensitivity.review"

// ReviewSchema is the layout version of a Review.
const ReviewSchema uint = 2

// The courses that a sensitivity can be taken to have run between the last good
// calibration and the one that found it changed. Which one holds is a person's
// judgement; nothing in the two certificates tells.
const (
	CourseWhole  = "whole span" // as found, from the last good calibration on
	CourseLinear = "linear"     // in a straight line over time from the good to the found value
	CourseStep   = "step"       // good until StepAt, as found from then on
)

// Courses lists them.
func Courses() []string { return []string{CourseWhole, CourseLinear, CourseStep} }

// Review says what is made of a calibration that found a sensor's sensitivity
// outside its limits: how it is taken to have run, why, and what was done about
// the nonconforming work (ISO/IEC 17025:2017, 7.10). The results of the shots in
// between are computed again with it, and name it.
type Review struct {
	Item             uuid.UUID `json:"item"`
	Found            uuid.UUID `json:"found"` // the calibration that found it
	Good             uuid.UUID `json:"good"`  // the last good one before
	From             Time      `json:"from"`  // shots with From <= t < Until are in doubt
	Until            Time      `json:"until"`
	GoodSensitivity  float64   `json:"good_sensitivity"`
	FoundSensitivity float64   `json:"found_sensitivity"`
	SensitivityUnit  string    `json:"sensitivity_unit"`
	Course           string    `json:"course"`
	StepAt           Time      `json:"step_at,omitempty"`
	Why              string    `json:"why"`              // this course
	Number           string    `json:"number,omitempty"` // of the lab's own nonconformity report
	Cause            string    `json:"cause,omitempty"`
	Action           string    `json:"action,omitempty"` // taken on sensor and work
	Told             string    `json:"told,omitempty"`   // who was told, and when

	// Since version 2, as ISO/IEC 17025:2017, 7.10.1, asks.
	Significance string `json:"significance,omitempty"` // of the nonconforming work, and whether it is acceptable
	Halted       string `json:"halted,omitempty"`       // work halted, reports withheld or called back
	Resumed      string `json:"resumed,omitempty"`      // who allowed the work to go on, and when
}

// RecordKind is KindReview.
func (*Review) RecordKind() record.Kind { return KindReview }

// SchemaVersion is ReviewSchema.
func (*Review) SchemaVersion() uint { return ReviewSchema }

// Validate gives all faults at once.
func (r *Review) Validate() error {
	c := &checks{what: KindReview}
	c.id("item", r.Item)
	c.id("found", r.Found)
	c.id("good", r.Good)
	c.when("from", r.From)
	c.when("until", r.Until)
	if r.Until <= r.From {
		c.add("until", "the span in doubt ends before it begins", "the calibration that found it must be later than the last good one")
	}
	for field, s := range map[string]float64{"good_sensitivity": r.GoodSensitivity, "found_sensitivity": r.FoundSensitivity} {
		if s == 0 || math.IsNaN(s) || math.IsInf(s, 0) {
			c.add(field, "it is no sensitivity", "give the certificate's value")
		}
	}
	if ratio := r.FoundSensitivity / r.GoodSensitivity; !(ratio > 0.1 && ratio < 10) {
		c.add("found_sensitivity", fmt.Sprintf("%g is %.3g times the %g before", r.FoundSensitivity, ratio, r.GoodSensitivity), "check sign, decimal point and unit on the certificates")
	}
	c.needText("sensitivity_unit", r.SensitivityUnit, MaxText)
	c.oneOf("course", r.Course, Courses()...)
	if r.Course == CourseStep && (r.StepAt < r.From || r.StepAt >= r.Until) {
		c.add("step_at", "the step lies outside the span in doubt", "give a time between the two calibrations")
	}
	if r.Course != CourseStep && r.StepAt != 0 {
		c.add("step_at", "this course has no step", "leave the time out, or choose the step")
	}
	c.needText("why", r.Why, MaxNote)
	c.text("number", r.Number, MaxText)
	c.text("cause", r.Cause, MaxNote)
	c.text("action", r.Action, MaxNote)
	c.text("told", r.Told, MaxNote)
	c.text("significance", r.Significance, MaxNote)
	c.text("halted", r.Halted, MaxNote)
	c.text("resumed", r.Resumed, MaxNote)
	return c.err()
}

// Covers says whether a time lies in the span in doubt.
func (r *Review) Covers(t Time) bool { return r.From <= t && t < r.Until }

// SensitivityAt is the sensitivity taken to have held at a time in the span.
func (r *Review) SensitivityAt(t Time) float64 {
	switch r.Course {
	case CourseLinear:
		share := float64(t-r.From) / float64(r.Until-r.From)
		return r.GoodSensitivity + share*(r.FoundSensitivity-r.GoodSensitivity)
	case CourseStep:
		if t < r.StepAt {
			return r.GoodSensitivity
		}
	}
	return r.FoundSensitivity
}

// FoundState is what a calibration says of the time before it.
type FoundState struct {
	Sensitivity   float64 // as found
	ChangePercent float64 // of the one before
	LimitPercent  float64 // up to and with this the change is accepted
	Limit         string  // where the limit comes from
	Explained     bool    // the limit is only what the uncertainties explain; nobody set one
}

// Out says that the sensitivity was outside its limits when it was found.
func (f *FoundState) Out() bool { return math.Abs(f.ChangePercent) > f.LimitPercent }

// AsFound holds what a calibration found against the one before. ok is false
// where the two cannot be compared: no sensitivity, other units, no limit, or an
// adjusted sensor whose value as found is not reported. A certificate without a
// value as found is else of a sensor that was not adjusted. The
// limit is that of the certificate; else the two expanded uncertainties in
// quadrature, so that |E_n| of ISO/IEC 17043, annex B, is 1 there (not confirmed
// against print): a change beyond it is not explained by them, which is no verdict
// on the sensor; the lab sets the limit (ISO/IEC 17025:2017, 6.4).
func (k *Calibration) AsFound(before *Calibration) (f FoundState, ok bool) {
	found := k.Sensitivity
	if k.AsFoundSensitivity != nil {
		found = k.AsFoundSensitivity
	}
	if before == nil || found == nil || k.AsFoundNotReported || before.Sensitivity == nil || Fold(k.SensitivityUnit) != Fold(before.SensitivityUnit) || *before.Sensitivity == 0 {
		return f, false
	}
	f.Sensitivity = *found
	f.ChangePercent = 100 * (*found / *before.Sensitivity - 1)
	switch u, w := k.ExpandedUncertaintyPercent, before.ExpandedUncertaintyPercent; {
	case k.AsFoundLimitPercent != nil:
		f.LimitPercent, f.Limit = *k.AsFoundLimitPercent, "set with certificate "+k.Certificate
	case u != nil && w != nil && *u > 0 && *w > 0:
		f.Explained = true
		f.LimitPercent = math.Hypot(*found**u, *before.Sensitivity**w) / math.Abs(*before.Sensitivity)
		f.Limit = "the expanded uncertainties of certificates " + before.Certificate + " and " + k.Certificate + " in quadrature"
	default:
		return f, false
	}
	return f, true
}

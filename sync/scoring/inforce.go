package scoring

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// InForce lists the calibrations of what sat at a rig at a time, the latest of each
// item made by then, an overdue one too: it is still the best that is known, and the
// shot is flagged for it elsewhere. A shot is scored with those at its effective time.
func InForce(ctx context.Context, v *view.Reader, sc scope.Scope, rig uuid.UUID, at lab.Time) ([]score.Calibration, error) {
	mounted, err := v.Mounted(ctx, sc, rig, at)
	if err != nil {
		return nil, fmt.Errorf("sensors mounted at rig %s: %w", rig, err)
	}
	var out []score.Calibration
	for _, m := range mounted {
		if m.Item == nil {
			continue
		}
		state, err := v.CalibrationAt(ctx, sc, m.Item.ID, at)
		if err != nil {
			return nil, fmt.Errorf("calibration of %s %s: %w", m.Item.Item.Class, m.Item.Item.Serial, err)
		}
		if k := state.Calibration; k != nil {
			out = append(out, reviewed(calibrationOf(m.Mounting.Mounting.Position, m.Item, k), state.Review, at))
		}
	}
	return ofAxes(out), nil
}

// InForceOf is InForce for a stored shot fired at a time, from the sensors that view
// lists for it.
func InForceOf(sensors []view.SensorRow, at lab.Time) []score.Calibration {
	var out []score.Calibration
	for _, s := range sensors {
		if k := s.Calibration.Calibration; k != nil && s.Item != nil {
			out = append(out, reviewed(calibrationOf(s.Mounting.Mounting.Position, s.Item, k), s.Calibration.Review, at))
		}
	}
	return ofAxes(out)
}

// ofAxes marks the certificates of sensors that measure at several positions.
func ofAxes(all []score.Calibration) []score.Calibration {
	n := map[string]int{}
	for i := range all {
		n[all[i].ID]++
	}
	for i := range all {
		all[i].SeveralAxes = n[all[i].ID] > 1
	}
	return all
}

// Reviewed puts the sensitivities that a review takes to have held at a time in the
// place of those of the certificate that it is about. id names the review in the score.
func Reviewed(all []score.Calibration, id uuid.UUID, r *lab.Review, at lab.Time) []score.Calibration {
	out := slices.Clone(all)
	for i := range out {
		if k := &out[i]; k.ID == r.Good.String() && r.Covers(at) {
			correct(k, r.SensitivityAt(at), id)
		}
	}
	return out
}

func reviewed(k score.Calibration, r *view.ReviewRow, at lab.Time) score.Calibration {
	if r != nil {
		correct(&k, r.Review.SensitivityAt(at), r.ID)
	}
	return k
}

// correct replaces a certificate's sensitivity; one that says the same corrects nothing.
func correct(k *score.Calibration, sensitivity float64, by uuid.UUID) {
	assumed := k.Sensitivity
	if k.AssumedSensitivity != 0 {
		assumed = k.AssumedSensitivity
	}
	if assumed == 0 {
		return
	}
	k.Sensitivity, k.AssumedSensitivity, k.Correction = sensitivity, assumed, by.String()
	if sensitivity == assumed {
		k.AssumedSensitivity = 0
	}
}

// UsedBy lists the certificates that the shown score of a shot rests on, so that its
// curves are drawn from the same values; none for a shot that is not scored.
func UsedBy(ctx context.Context, v *view.Reader, sc scope.Scope, shot uuid.UUID) ([]score.Calibration, error) {
	scores, err := v.Scores(ctx, sc, shot)
	if err != nil || len(scores) == 0 {
		return nil, err
	}
	var out []score.Calibration
	for _, u := range scores[0].Score.Calibrations {
		k, err := v.Calibration(ctx, sc, u.Calibration)
		if err != nil {
			return nil, fmt.Errorf("certificate %s that the score rests on: %w", u.Certificate, err)
		}
		item, err := v.Item(ctx, sc, k.Calibration.Item)
		if err != nil {
			return nil, fmt.Errorf("sensor of certificate %s: %w", u.Certificate, err)
		}
		used := calibrationOf(u.Position, &item, &k)
		used.SeveralAxes = u.SeveralAxes
		if s := u.CorrectedSensitivity; s != nil {
			correct(&used, *s, uuid.Nil)
		}
		out = append(out, used)
	}
	return out, nil
}

func calibrationOf(position string, item *view.ItemRow, k *view.CalibrationRow) score.Calibration {
	out := score.Calibration{ID: k.ID.String(), Position: position, Sensor: item.Item.Serial, Certificate: k.Calibration.Certificate}
	if s := k.Calibration.Sensitivity; s != nil {
		out.Sensitivity, out.SensitivityUnit = *s, k.Calibration.SensitivityUnit
	}
	if p := k.Calibration.ExpandedUncertaintyPercent; p != nil {
		out.ExpandedUncertaintyPercent = *p
	}
	return out
}

// usedCalibrations says in the record which certificates the score rests on.
func usedCalibrations(rep *score.Report) []lab.UsedCalibration {
	var out []lab.UsedCalibration
	for _, u := range rep.Calibrations[:min(len(rep.Calibrations), lab.MaxUsedCalibrations)] {
		id, err := uuid.Parse(u.ID)
		if err != nil {
			continue // not from the register
		}
		one := lab.UsedCalibration{Calibration: id, Position: cut(u.Position, lab.MaxText), Certificate: cut(u.Certificate, lab.MaxText),
			TookSensitivity: u.TookSensitivity, TookUncertainty: u.TookUncertainty, SeveralAxes: u.SeveralAxes}
		if u.Correction != "" && u.AssumedSensitivity != 0 {
			one.CorrectedSensitivity = new(u.Sensitivity)
		}
		out = append(out, one)
	}
	return out
}

// usedReviews names what corrected the sensitivities, each once.
func usedReviews(rep *score.Report) []uuid.UUID {
	var out []uuid.UUID
	for _, u := range rep.Calibrations {
		if id, err := uuid.Parse(u.Correction); err == nil && id != uuid.Nil && !slices.Contains(out, id) && len(out) < lab.MaxUsedCalibrations {
			out = append(out, id)
		}
	}
	return out
}

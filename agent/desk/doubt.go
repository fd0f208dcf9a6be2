package desk

import (
	"context"
	"fmt"
	"math"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// farFromTarget is the share of the target by which a typed speed may miss it
// before the operator is asked whether one of them was mistyped. Our own figure.
const farFromTarget = 0.3

// ask puts doubts beside the fields of a form, once: not where a person said that
// it is meant so.
func ask(c echo.Context, doubts, typed, faults map[string]string) {
	if c.FormValue(page.DoubtField) != "" {
		return
	}
	for field, doubt := range doubts {
		if faults[field] == "" {
			faults[field] = doubt
			typed[page.DoubtField] = "ask"
		}
	}
}

// speedDoubt asks about a typed speed far from the target; "" for none.
func speedDoubt(m *lab.Meta) string {
	if m.SpeedMS == nil || m.TargetSpeedMS == nil || math.Abs(*m.SpeedMS-*m.TargetSpeedMS) <= farFromTarget**m.TargetSpeedMS {
		return ""
	}
	return fmt.Sprintf("%g m/s is far from the target, %g m/s. Was one of them mistyped?", *m.SpeedMS, *m.TargetSpeedMS)
}

// outDoubt asks about a specimen that had failed an inspection before a time; "" for none.
func (d *Desk) outDoubt(ctx context.Context, specimen string, at lab.Time) (string, error) {
	if lab.Fold(specimen) == "" {
		return "", nil
	}
	also, err := d.labs(ctx)
	if err != nil {
		return "", err
	}
	r, err := d.read.SpecimenOut(ctx, d.scope(), specimen, also...)
	if err != nil || r == nil || r.Inspection.EffectiveAt > at {
		return "", err
	}
	return strings.TrimSuffix(specimen+" failed its inspection: "+r.Inspection.Reason, ": "), nil
}

// doubted asks once about what is to be recorded of a shot that was taken in,
// where it is not recorded so already.
func (d *Desk) doubted(c echo.Context, row *view.ShotRow, want map[string]any, typed, faults map[string]string) error {
	doubts := map[string]string{}
	if name, _ := want["specimen"].(string); lab.Fold(name) != lab.Fold(row.Shot.Specimen) && typed["kind"] == lab.ShotHit {
		text, err := d.outDoubt(c.Request().Context(), name, row.Shot.EffectiveAt)
		if err != nil {
			return err
		}
		if text != "" {
			doubts["specimen"] = text
		}
	}
	m, changed := row.Shot.Meta, false
	for name, to := range map[string]**float64{"speed_m_s": &m.SpeedMS, "target_speed_m_s": &m.TargetSpeedMS} {
		if v, ok := want[name].(float64); ok {
			changed = changed || !same(*to, &v)
			*to = &v
		}
	}
	if text := speedDoubt(&m); changed && text != "" {
		doubts["speed_m_s"] = text
	}
	ask(c, doubts, typed, faults)
	return nil
}

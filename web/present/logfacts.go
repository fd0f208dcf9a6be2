package present

import (
	"context"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// certificate says what a certificate says.
func (s *LogView) certificate(r *page.LogRow, k *lab.Calibration) {
	r.Text = "certificate " + k.Certificate
	if k.DueAt != 0 {
		r.Text += ", good until " + DayOf(k.DueAt, s.Zone)
	}
	if k.Sensitivity != nil {
		r.Facts = append(r.Facts, "sensitivity "+withUnit(page.Show(*k.Sensitivity, k.SensitivityUnit)))
	}
	if k.Laboratory != "" {
		r.Facts = append(r.Facts, "by "+k.Laboratory)
	}
}

// void says which shot was made void, or counts again, and why.
func (s *LogView) void(ctx context.Context, r *page.LogRow, v *view.VoidedRow) error {
	r.ID, r.Text = v.Void.Shot.String(), v.Void.Reason
	if v.Void.Lifted {
		r.Kind = "counts again"
	}
	row, err := s.Read.Shot(ctx, s.Scope, v.Void.Shot)
	switch {
	case err == nil:
		r.About = "shot " + HitOf(&row) + ", " + page.ShowMoment(row.Shot.EffectiveAt.Time().In(s.Zone))
	case problem.Of(err) == problem.NotFound:
		r.About = "a shot whose record is not here"
	default:
		return err
	}
	return nil
}

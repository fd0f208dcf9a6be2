package present

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// StepWords names a planned hit, as "H-10, front, cold, 6.00 m/s, hit 2".
func StepWords(s *lab.RunStep) string {
	text := s.Specimen + ", " + s.Location
	if s.Condition != "" {
		text += ", " + s.Condition
	}
	return text + ", " + withUnit(page.Show(s.TargetSpeedMS, "m/s")) + ", hit " + page.ShowCount(s.Hit)
}

// skip shows a planned hit that was skipped, or put back into the order.
func (s *LogView) skip(ctx context.Context, e *view.SkipRow, r *page.LogRow) error {
	r.About, r.Text = StepWords(&e.Order.Step), e.Order.Reason
	if e.Order.Do == lab.RunBack {
		r.Kind, r.Text = "put back", "it is to be fired after all"
	}
	k, err := s.Read.Campaign(ctx, s.Scope, e.Order.Campaign)
	switch {
	case err == nil:
		r.Facts = append(r.Facts, "campaign "+k.Campaign.Name)
	case problem.Of(err) != problem.NotFound:
		return err
	}
	return nil
}

// takenOff names what left its position; nothing, where none is known to have
// sat there.
func (s *LogView) takenOff(ctx context.Context, m *lab.Mounting, r *page.LogRow) error {
	r.Kind, r.Text = "taken off", "position "+m.Position+" is empty"
	rows, err := s.Read.Mounted(ctx, s.Scope, m.Rig, m.EffectiveAt-1)
	for i := range rows {
		if b := &rows[i].Mounting.Mounting; err == nil && b.Position == m.Position && b.Item != uuid.Nil {
			r.About, err = s.item(ctx, b.Item)
		}
	}
	return err
}

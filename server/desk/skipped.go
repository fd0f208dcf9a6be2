package desk

import (
	"context"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// skipped puts the hits that people took out of the run order on the screen of
// their campaign: in their cell, and in a list with the reason.
func (d *Desk) skipped(ctx context.Context, p *caller, sc scope.Scope, r *view.CampaignRow, s *page.Campaign) error {
	also, _ := sc.List()
	o, err := d.Views.RunOrder(ctx, sc, r.ID, also...)
	if err != nil || o.Count(view.StepSkipped) == 0 {
		return err
	}
	who, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	for i := range o.Steps {
		x := &o.Steps[i]
		if x.State != view.StepSkipped {
			continue
		}
		s.Skipped = append(s.Skipped, page.SkippedHit{Hit: present.StepWords(&x.RunStep), Reason: x.Reason, By: present.Who(x.By, who), At: x.At.In(d.zone)})
		if c := cellOf(s, &x.RunStep); c != nil {
			c.Skipped++
		}
	}
	return nil
}

// cellOf finds the cell of a planned hit in the table of progress.
func cellOf(s *page.Campaign, x *lab.RunStep) *page.Cell {
	for i := range s.Rows {
		r := &s.Rows[i]
		if lab.Fold(r.Specimen) != lab.Fold(x.Specimen) || lab.Fold(r.Location) != lab.Fold(x.Location) || lab.Fold(r.Condition) != lab.Fold(x.Condition) {
			continue
		}
		for k, head := range s.Speeds {
			if head == speedText(float64(lab.MillimetresPerSecond(x.TargetSpeedMS))/1000) {
				return &r.Cells[k]
			}
		}
	}
	return nil
}

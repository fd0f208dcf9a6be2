package present

import (
	"context"
	"fmt"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// mostOverlays is how many other shots of a cell are offered.
const mostOverlays = 12

// Overlays lists the newest other hits of the same cell, to lay over the traces
// of a shot: location, condition and target speed are the same, and the
// specimen is of one of the same campaigns, or without a campaign the same.
func Overlays(ctx context.Context, v *view.Reader, sc scope.Scope, r *view.ShotRow, zone *time.Location) ([]page.Overlay, error) {
	if r.Shot.Kind != lab.ShotHit || lab.Fold(r.Shot.Specimen) == "" || r.Shot.TargetSpeedMS == nil {
		return nil, nil
	}
	campaigns, err := CampaignsWith(ctx, v, sc, r.Shot.Specimen)
	if err != nil {
		return nil, fmt.Errorf("other shots of the cell: %w", err)
	}
	specimens := []string{r.Shot.Specimen}
	for i := range campaigns {
		specimens = append(specimens, campaigns[i].Campaign.Specimens...)
	}
	no := false
	list, err := v.Shots(ctx, sc, view.ShotFilter{Specimens: specimens, Location: r.Shot.Location, Kind: lab.ShotHit, Void: &no}, view.Page{Limit: 200})
	if err != nil {
		return nil, fmt.Errorf("other shots of the cell: %w", err)
	}
	var out []page.Overlay
	for i := range list.Rows {
		o := &list.Rows[i]
		if o.ID == r.ID || lab.Fold(o.Shot.Condition) != lab.Fold(r.Shot.Condition) || lab.Fold(o.Shot.Location) != lab.Fold(r.Shot.Location) ||
			o.Shot.TargetSpeedMS == nil || lab.MillimetresPerSecond(*o.Shot.TargetSpeedMS) != lab.MillimetresPerSecond(*r.Shot.TargetSpeedMS) {
			continue
		}
		text := o.Shot.Specimen + ", " + o.Shot.EffectiveAt.Time().In(zone).Format("2006-01-02 15:04:05")
		if s := o.SpeedMS(); s != nil {
			text += ", " + withUnit(page.Show(*s, "m/s"))
		}
		if o.Figures != nil && o.Figures.PeakG != nil {
			text += ", " + withUnit(page.Show(*o.Figures.PeakG, "g"))
		}
		if out = append(out, page.Overlay{ID: o.ID.String(), Text: text}); len(out) == mostOverlays {
			break
		}
	}
	return out, nil
}

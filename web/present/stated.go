package present

import (
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Stated says that the results of a shot rest on another stated speed than the one
// that is recorded now; nil where they do not.
func Stated(row *view.ShotRow, scores []view.ScoreRow, may bool) *page.Stated {
	if len(scores) == 0 || scores[0].Score.RestsOnTyped(row.Shot.SpeedMS) {
		return nil
	}
	s := &page.Stated{By: statedSpeed(scores[0].Score.TypedSpeedMS), Now: statedSpeed(row.Shot.SpeedMS)}
	if may {
		s.Again = &page.Form{Action: page.StatedPath(row.ID.String()), Submit: "Compute it again"}
	}
	return s
}

func statedSpeed(v *float64) string {
	if v == nil {
		return "no typed speed"
	}
	return "a typed speed of " + plain(v) + " m/s"
}

package present

import (
	"cmp"
	"context"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// NeedsCalibration reads from the form of a new item whether it needs calibration:
// as is usual for its kind, where nobody said otherwise.
func NeedsCalibration(values map[string]string) bool {
	said := values["calibration_required"]
	return said == "yes" || said == "" && lab.Calibrated(values["class"])
}

// MountedAt lists what sat at a shot's rig when it was fired, and whether it was
// in calibration then. link leads to an item; nil: there is no screen of it.
func MountedAt(ctx context.Context, v *view.Reader, sc scope.Scope, row *view.ShotRow, scores []view.ScoreRow, link func(id string) string) ([]page.ShotMounted, error) {
	rows, err := v.Mounted(ctx, sc, row.Shot.Rig, row.Shot.EffectiveAt)
	if err != nil {
		return nil, err
	}
	var out []page.ShotMounted
	for i := range rows {
		m := page.ShotMounted{Position: rows[i].Mounting.Mounting.Position, Item: "an item that is not in the register here"}
		it := rows[i].Item
		if it == nil {
			out = append(out, m)
			continue
		}
		if m.Item = it.Item.Title(); link != nil {
			m.Href = link(it.ID.String())
		}
		c, err := v.CalibrationAt(ctx, sc, it.ID, row.Shot.EffectiveAt)
		if err != nil {
			return nil, err
		}
		switch {
		case c.Calibration != nil:
			m.Calibration, m.Certificate = Calibration(&c), c.Calibration.Calibration.Certificate
			m.Rests = restsOn(scores, m.Position, c.Calibration)
		case c.State != view.NotRequired:
			m.Calibration = Calibration(&c)
		case lab.Calibrated(it.Item.Class):
			m.Calibration = uncertified()
		}
		st, err := v.StateAt(ctx, sc, it.ID, row.Shot.EffectiveAt)
		if err != nil {
			return nil, err
		}
		if st != nil && st.ItemState.State != lab.StateInService {
			m.State = page.Status{Level: page.Bad, Word: st.ItemState.State + ", and mounted"}
		}
		out = append(out, m)
	}
	return out, nil
}

// restsOn gives the number of the certificate that the results took for a position, where it is
// another one than the register says held: it was entered after they were computed.
func restsOn(scores []view.ScoreRow, position string, held *view.CalibrationRow) string {
	if len(scores) == 0 {
		return ""
	}
	for _, u := range scores[0].Score.Calibrations {
		if lab.Fold(u.Position) == lab.Fold(position) && u.Calibration != held.ID {
			return cmp.Or(u.Certificate, u.Calibration.String()[:8])
		}
	}
	return ""
}

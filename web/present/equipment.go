package present

import (
	"context"
	"slices"
	"time"

	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// ListRow is ShotRow with what was wrong with the equipment when the shot was
// fired, each kind of fault once: the shot's own screen names the items.
func ListRow(ctx context.Context, v *view.Reader, sc scope.Scope, r *view.ShotRow, zone *time.Location) (page.ShotRow, error) {
	p := ShotRow(r, zone)
	sensors, err := v.SensorsOf(ctx, sc, r.ID)
	if err != nil {
		return p, err
	}
	for _, f := range EquipmentFlags(sensors) {
		if !slices.ContainsFunc(p.Flags, func(o page.Flag) bool { return o.Code == f.Code }) {
			p.Flags = append(p.Flags, page.Flag{Code: f.Code, Text: Words(f.Code), Level: f.Level})
		}
	}
	sortFlags(p.Flags)
	return p, nil
}

// EquipmentFlags are the flags of what was mounted, in words.
func EquipmentFlags(sensors []view.SensorRow) []page.Flag {
	var out []page.Flag
	for _, s := range sensors {
		if s.Flag != nil {
			out = append(out, Flag(*s.Flag))
		}
	}
	return out
}

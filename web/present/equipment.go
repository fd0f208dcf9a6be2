package present

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// ListRow is ShotRow with what was wrong with the equipment when the shot was
// fired, each kind of fault once: the shot's own screen names the items.
func ListRow(ctx context.Context, v *view.Reader, sc scope.Scope, r *view.ShotRow, zone *time.Location) (page.ShotRow, error) {
	p := ShotRow(r, zone)
	all, err := RigFlags(ctx, v, sc, r.ID)
	if err != nil {
		return p, err
	}
	for _, f := range all {
		if !slices.ContainsFunc(p.Flags, func(o page.Flag) bool { return o.Code == f.Code }) {
			p.Flags = append(p.Flags, page.Flag{Code: f.Code, Text: Words(f.Code), Level: f.Level})
		}
	}
	sortFlags(p.Flags)
	return p, nil
}

// RigFlags are the flags of a shot that come from what was mounted and from
// the state of the rig when it was fired, in words.
func RigFlags(ctx context.Context, v *view.Reader, sc scope.Scope, shot uuid.UUID) ([]page.Flag, error) {
	sensors, err := v.SensorsOf(ctx, sc, shot)
	if err != nil {
		return nil, err
	}
	var out []page.Flag
	for _, s := range sensors {
		if s.Flag != nil {
			out = append(out, Flag(*s.Flag))
		}
	}
	more, err := v.RigFlags(ctx, sc, shot)
	for _, f := range more {
		out = append(out, Flag(f))
	}
	return out, err
}

package desk

import (
	"context"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/review"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// byStated scores a shot of a lab again by the speed that is recorded, where its
// results rest on another.
func (d *Desk) byStated(ctx context.Context, p *caller, in record.LabID, shot uuid.UUID) error {
	r, why, err := d.maker().Stated(ctx, p.Scope, shot)
	switch {
	case err != nil:
		return err
	case why == review.StillAtRig:
		return problem.New(problem.Conflict, "The shot cannot be computed again yet: "+why+".", "Try again once they are here, or compute it again at the rig.")
	case why != "":
		return problem.New(problem.Conflict, "The shot cannot be computed again: "+why, "Look at what is said of its file below.")
	case r == nil:
		return nil
	}
	return d.Register.Scores(ctx, p.Principal, in, []register.Result{*r})
}

// stated computes a shot again by the speed that is recorded.
func (d *Desk) stated(c echo.Context) error {
	return d.post(c, nil, func(ctx context.Context, _ *httpkit.Filled) (string, error) {
		p, in, row, err := d.keptShot(ctx, c)
		if err != nil {
			return "", err
		}
		return page.ShotPath(row.ID.String()), d.byStated(ctx, &p, in, row.ID)
	}, d.shotAgain(""))
}

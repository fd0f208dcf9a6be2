package desk

import (
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/speed"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// drift shows how the speed at a given pressure moved since the last service.
func (d *Desk) drift(c echo.Context) error {
	ctx := c.Request().Context()
	h, err := speed.Read(ctx, d.read, d.scope(), d.Intake.Rig(), time.Now())
	if err != nil {
		return err
	}
	p := page.Drift{Frame: d.frame(c, "Drift", page.PathDrift), Service: present.Moment(h.Service, time.Local), Shots: present.Count(int64(len(h.Since)), "shot", "shots")}
	if h.Ram != nil {
		p.Ram = h.Ram.Item.Title()
	}
	got, err := h.Drift()
	if err != nil {
		p.Why = "There is nothing to fit yet: " + err.Error() + "."
		return httpkit.Page(c, http.StatusOK, p)
	}
	aim, err := d.aim(c)
	if err != nil {
		return err
	}
	present.Drift(&p, &got, aim, d.unit(ctx))
	return httpkit.Page(c, http.StatusOK, p)
}

// aim is the target of the shot that was confirmed last, else the first cell
// with a tolerance of any campaign.
func (d *Desk) aim(c echo.Context) (*present.Aim, error) {
	ctx := c.Request().Context()
	e, err := d.read.LastExpected(ctx, d.scope(), d.Intake.Rig())
	if err != nil {
		return nil, err
	}
	if e != nil && e.Expected.Campaign != uuid.Nil && e.Expected.TargetSpeedMS != nil && e.Expected.ToleranceMS > 0 {
		return &present.Aim{SpeedMS: *e.Expected.TargetSpeedMS, ToleranceMS: e.Expected.ToleranceMS}, nil
	}
	list, err := d.read.Campaigns(ctx, d.scope(), view.Page{Limit: view.MaxLimit})
	for i := range list.Rows {
		for _, cell := range list.Rows[i].Campaign.Cells {
			if cell.ToleranceMS > 0 {
				return new(aimOf(cell)), err
			}
		}
	}
	return nil, err
}

func aimOf(cell lab.Cell) present.Aim {
	return present.Aim{SpeedMS: cell.TargetSpeedMS, ToleranceMS: cell.ToleranceMS}
}

package desk

import (
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// end says that no file is to come: not fired, or fired and no file was written.
func (d *Desk) end(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := d.formID(c, "expected")
	if err != nil {
		return err
	}
	e, err := d.read.Expected(ctx, d.scope(), id)
	if err != nil {
		return err
	}
	if !e.Open() {
		return httpkit.SeeOther(c, page.PathResult)
	}
	fired, reason := c.FormValue("fired") == "yes", c.FormValue("reason")
	if reason == "" {
		form := "end"
		if fired {
			form = "nofile"
		}
		p, err := d.resultPage(c, &tried{form: form, faults: map[string]string{"reason": "This is needed."}})
		if err != nil {
			return err
		}
		return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
	}
	if fired {
		s := &lab.Strokes{Rig: e.Expected.Rig, Kind: lab.StrokeNoFile, Number: 1, TankPressureKPaGauge: e.Expected.TankPressureKPaGauge, EffectiveAt: lab.At(time.Now()), Reason: reason}
		if err := d.write(c, uuid.NewSHA1(e.ID, []byte("stroke")), s); err != nil {
			return err
		}
	}
	if err := d.write(c, e.ID, &lab.ExpectedSettled{Expected: e.ID, Reason: reason}); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathNext)
}

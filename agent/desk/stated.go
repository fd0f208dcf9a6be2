package desk

import (
	"github.com/labstack/echo/v4"

	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// stated computes a shot again by the speed that is recorded.
func (d *Desk) stated(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	if err := d.Intake.Restate(c.Request().Context(), id); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.ShotPath(id.String()))
}

package desk

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/manual"
	"thudbook/web/page"
)

// flags are those that the server adds to a shot beside the computation's.
func flags() []manual.Flag {
	return []manual.Flag{
		{Code: view.FlagOverdue, Meaning: "When the shot was fired, the calibration of an item that was mounted was overdue.",
			Action: "Have it calibrated; if it then proves out of tolerance, rescore the shots that it touched."},
		{Code: view.FlagNeverCalibrated, Meaning: "When the shot was fired, no calibration of an item that was mounted was on record.",
			Action: "Enter its certificate under Equipment; the flag goes when the certificate covers the shot."},
		{Code: view.FlagUnregistered, Meaning: "Something was mounted that is not in the register.", Action: "Enter the item under Equipment."},
	}
}

func (d *Desk) manual(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	m, err := manual.Page(c.Param("page"), d.frame(&p, "Manual", page.PathManual), flags()...)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, m)
}

package desk

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"thudbook/web/httpkit"
	"thudbook/web/manual"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) manual(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	m, err := manual.Page(c.Param("page"), d.frame(&p, "Manual", page.PathManual), present.ManualFlags()...)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, m)
}

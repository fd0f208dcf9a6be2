package desk

import (
	"context"

	"github.com/labstack/echo/v4"

	"thudbook/metrics/score"
	"thudbook/metrics/shock"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// shockSection adds the spectra of a shot whose bytes are here, if they are asked for.
func (d *Desk) shockSection(ctx context.Context, c echo.Context, p *page.Shot, row *view.ShotRow) {
	if p.Traces == nil {
		return
	}
	section, request, ask := present.Shock(p.ID, c.QueryParams())
	p.Shock = section
	if !ask {
		return
	}
	got, err := d.traces.spectra(ctx, row, request)
	if err != nil {
		d.Log.Warn("shock spectra", "shot", row.ID, "error", err)
	}
	present.FillShock(section, got, request.Unfiltered, err)
}

// shockCSV gives the spectra of a shot as delimited text.
func (d *Desk) shockCSV(c echo.Context) error {
	row, err := d.row(c)
	if err != nil {
		return err
	}
	return present.ServeShock(c.Response(), row.ID.String(), c.QueryParams(), func(r score.ShockRequest) (*shock.Spectra, error) {
		return d.traces.spectra(c.Request().Context(), row, r)
	})
}

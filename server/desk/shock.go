package desk

import (
	"context"

	"github.com/labstack/echo/v4"

	"thudbook/metrics/score"
	"thudbook/metrics/shock"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// shockSection adds the spectra of a shot whose bytes are here, if they are asked for.
func (d *Desk) shockSection(ctx context.Context, c echo.Context, own scope.Scope, s *page.Shot, row *view.ShotRow) error {
	if s.Traces == nil {
		return nil
	}
	section, request, ask := present.Shock(s.ID, c.QueryParams())
	s.Shock = section
	if !ask {
		return nil
	}
	got, err := d.traces.spectra(ctx, own, row, request)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		d.Log.Warn("shock spectra", "shot", row.ID, "error", err)
	}
	present.FillShock(section, got, request.Unfiltered, err)
	return nil
}

// shockCSV gives the spectra of a shot as delimited text.
func (d *Desk) shockCSV(c echo.Context) error {
	ctx := c.Request().Context()
	row, err := d.shotRow(c)
	if err != nil {
		return err
	}
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	own, err := d.labScope(ctx, &p, row.Lab)
	if err != nil {
		return err
	}
	return present.ServeShock(c.Response(), row.ID.String(), c.QueryParams(), func(r score.ShockRequest) (*shock.Spectra, error) {
		return d.traces.spectra(ctx, own, &row, r)
	})
}

// spectra computes shock response spectra of a shot anew; nothing is kept.
func (t *tracer) spectra(ctx context.Context, own scope.Scope, r *view.ShotRow, request score.ShockRequest) (*shock.Spectra, error) {
	select {
	case t.turn <- struct{}{}:
		defer func() { <-t.turn }()
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	got, why, err := t.signals(ctx, own, r)
	switch {
	case err != nil:
		return nil, err
	case got == nil:
		return nil, problem.New(problem.TooLarge, why, "Compute the spectra there with thudbook shock.")
	}
	s, err := score.ShockSpectra(ctx, &got.Report, request)
	return &s, err
}

// signals reads the channels of a shot from its bytes, or says why it does not.
func (t *tracer) signals(ctx context.Context, own scope.Scope, r *view.ShotRow) (*scoring.Traces, string, error) {
	if a, ok := r.Attachment(lab.RoleSource); ok && a.Size > mostSource {
		return nil, "The file is too large to be drawn here. Download the original.", nil
	}
	s := scoring.Scorer{Blobs: t.evidence.Of(r.Lab)}
	job := scoring.JobOf(r)
	var err error
	if job.Calibrations, err = scoring.UsedBy(ctx, t.read, own, r.ID); err != nil {
		return nil, "", err
	}
	got, err := s.Traces(ctx, job)
	return got, "", err
}

package desk

import (
	"cmp"
	"context"
	"errors"
	"io"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// labScope narrows a caller's scope to the lab that a record's lab stands for,
// with all of its ids.
func (d *Desk) labScope(ctx context.Context, p *caller, id record.LabID) (scope.Scope, error) {
	l, err := p.names.Lab(ctx, id)
	if err != nil {
		return scope.Scope{}, err
	}
	if l == nil {
		return p.Scope.Only(id), nil
	}
	in, err := d.Roster.Find(ctx, p.Scope, l.ID.String())
	return in.Scope, err
}

func (d *Desk) shotRow(c echo.Context) (view.ShotRow, error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return view.ShotRow{}, notFound("shot")
	}
	return d.Views.Shot(c.Request().Context(), door.Of(c).Scope, id)
}

func (d *Desk) shot(c echo.Context) error {
	s, err := d.shotPage(c)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, *s)
}

func (d *Desk) shotPage(c echo.Context) (*page.Shot, error) {
	ctx := c.Request().Context()
	row, err := d.shotRow(c)
	if err != nil {
		return nil, err
	}
	p, err := d.caller(c)
	if err != nil {
		return nil, err
	}
	scores, err := d.Views.Scores(ctx, p.Scope, row.ID)
	if err != nil {
		return nil, err
	}
	own, err := d.labScope(ctx, &p, row.Lab)
	if err != nil {
		return nil, err
	}
	in, err := d.shotUnit(c, own)
	if err != nil {
		return nil, err
	}
	s := present.Shot(&row, scores, d.zone, in)
	if s.Limits, err = present.Limits(ctx, d.Views, own, &row, scores); err != nil {
		return nil, err
	}
	if s.Mounted, err = present.MountedAt(ctx, d.Views, own, &row, scores, page.ItemUsePath); err != nil {
		return nil, err
	}
	if s.Reviews, err = d.reviewsOf(ctx, own, scores); err != nil {
		return nil, err
	}
	s.Frame = d.frame(&p, "Shot", page.PathShots)
	if row.Shot.Specimen != "" {
		s.Title = "Shot on " + row.Shot.Specimen
	}
	for _, fill := range []func(context.Context, *caller, *page.Shot, *view.ShotRow) error{d.whereabouts, d.sensorFlags, d.bytes, d.neighbours, d.inspectionsOf} {
		if err := fill(ctx, &p, &s, &row); err != nil {
			return nil, err
		}
	}
	if err := d.trail(ctx, &p, &s, &row, scores, in); err != nil {
		return nil, err
	}
	if err := d.shockSection(ctx, c, own, &s, &row); err != nil {
		return nil, err
	}
	return &s, nil
}

// reviewsOf names the reviews that the shown result rests on.
func (d *Desk) reviewsOf(ctx context.Context, own scope.Scope, scores []view.ScoreRow) ([]page.Reference, error) {
	if len(scores) == 0 {
		return nil, nil
	}
	var out []page.Reference
	for _, id := range scores[0].Score.Reviews {
		r, err := d.Views.Review(ctx, own, id)
		if missing(err) {
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, page.Reference{Text: "Review " + cmp.Or(r.Review.Number, id.String()[:8]), Href: page.ReviewPath(id.String())})
	}
	return out, nil
}

// whereabouts names lab and rig.
func (d *Desk) whereabouts(ctx context.Context, p *caller, s *page.Shot, row *view.ShotRow) (err error) {
	if s.Lab, err = p.names.Of(ctx, row.Lab); err != nil {
		return err
	}
	rig, err := d.Views.Rig(ctx, p.Scope, row.Shot.Rig)
	switch {
	case problem.Of(err) == problem.NotFound && err != nil: // its record has not arrived
		return nil
	case err != nil:
		return err
	}
	s.Rig = rig.Rig.Name
	return nil
}

// sensorFlags adds what was wrong with equipment and rig when the shot was fired.
func (d *Desk) sensorFlags(ctx context.Context, p *caller, s *page.Shot, row *view.ShotRow) error {
	all, err := present.RigFlags(ctx, d.Views, p.Scope, row.ID)
	if err != nil {
		return err
	}
	s.Flags = append(s.Flags, all...)
	slices.SortStableFunc(s.Flags, func(a, b page.Flag) int { return int(b.Level) - int(a.Level) })
	return nil
}

// bytes adds what lies beside the log: traces and channel map, or why they are
// not there.
func (d *Desk) bytes(ctx context.Context, p *caller, s *page.Shot, row *view.ShotRow) error {
	here, err := d.Evidence.Holds(ctx, row.Lab, row.Shot.SourceSHA256)
	if err != nil {
		return err
	}
	if !here {
		s.Source.Href, s.Source.Absent = "", "still on the rig PC"
		s.NoTraces = "The bytes of this shot are still on the rig PC. They come by themselves the next time its agent reaches this server."
		s.Received = page.Status{Level: page.Warn, Word: "record here, bytes still on the rig PC"}
		return nil
	}
	s.Received = page.Status{Level: page.OK, Word: "kept on this server"}
	if text, err := d.mapText(ctx, row); err == nil && text != "" {
		s.Map.Text = text
	}
	own, err := d.labScope(ctx, p, row.Lab)
	if err != nil {
		return err
	}
	if s.Overlays, err = present.Overlays(ctx, d.Views, own, row, d.zone); err != nil {
		return err
	}
	s.Traces, s.NoTraces, err = d.traces.of(ctx, own, row)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		d.Log.Error("traces", "shot", row.ID, "error", err)
		s.NoTraces = "The traces cannot be drawn."
		if p, ok := problem.As(err); ok {
			s.NoTraces = "The traces cannot be drawn. " + httpkit.Sentence(p)
		}
	}
	return nil
}

// mostMap bounds the text of a channel map on the screen.
const mostMap = 64 << 10

func (d *Desk) mapText(ctx context.Context, row *view.ShotRow) (string, error) {
	if row.Map() == (record.Hash{}) {
		return "", nil
	}
	f, _, err := d.Evidence.Of(row.Lab).Open(ctx, row.Map())
	if err != nil {
		return "", err
	}
	b, err := io.ReadAll(io.LimitReader(f, mostMap))
	return string(b), errors.Join(err, f.Close())
}

// neighbours links to the shots of the same lab fired before and after.
func (d *Desk) neighbours(ctx context.Context, p *caller, s *page.Shot, row *view.ShotRow) error {
	sc, err := d.labScope(ctx, p, row.Lab)
	if err != nil {
		return err
	}
	at := row.Shot.EffectiveAt
	before, err := d.beside(ctx, sc, row.ID, view.ShotFilter{To: at + 1})
	if err != nil {
		return err
	}
	after, err := d.beside(ctx, sc, row.ID, view.ShotFilter{From: at, Oldest: true})
	s.Previous, s.Next = before, after
	return err
}

// beside finds the shot that follows another in a list that begins with those
// of the same instant.
func (d *Desk) beside(ctx context.Context, sc scope.Scope, id uuid.UUID, f view.ShotFilter) (string, error) {
	list, err := d.Views.Shots(ctx, sc, f, view.Page{Limit: rowsPerPage})
	if err != nil {
		return "", err
	}
	at := slices.IndexFunc(list.Rows, func(r view.ShotRow) bool { return r.ID == id })
	if at < 0 || at+1 >= len(list.Rows) {
		return "", nil
	}
	return page.ShotPath(list.Rows[at+1].ID.String()), nil
}

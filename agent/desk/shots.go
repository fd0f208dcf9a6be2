package desk

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const rowsPerPage = 50

// shots is the list with its filter; a page is named by where it starts, so
// that a link shows the same shots when new ones have come.
func (d *Desk) shots(c echo.Context) error {
	ctx := c.Request().Context()
	specimen, after := c.QueryParam("specimen"), c.QueryParam("after")
	from, _ := strconv.Atoi(c.QueryParam("from")) // of no weight: only the count that is shown
	from = max(from, 1)
	list, err := d.read.Shots(ctx, d.scope(), view.ShotFilter{Specimen: specimen}, view.Page{Limit: rowsPerPage, After: after})
	if err != nil {
		return err
	}
	n, err := d.counts(ctx)
	if err != nil {
		return err
	}
	p := page.Shots{Frame: d.frame(c, "Shots", page.PathShots), Filter: page.ShotFilter{Specimen: specimen}, Total: present.Count(n.Shots, "shot", "shots")}
	if specimen != "" {
		p.Total = "Shots on " + specimen
	}
	for i := range list.Rows {
		row, err := present.ListRow(ctx, d.read, d.scope(), &list.Rows[i], time.Local)
		if err != nil {
			return err
		}
		p.Rows = append(p.Rows, row)
	}
	p.From, p.To = from, from+len(list.Rows)-1
	if p.CSV = page.PathShots + ".csv"; specimen != "" {
		p.CSV += "?specimen=" + url.QueryEscape(specimen)
	}
	link := func(after string, from int) string {
		q := url.Values{}
		for k, v := range map[string]string{"specimen": specimen, "after": after} {
			if v != "" {
				q.Set(k, v)
			}
		}
		if from > 1 {
			q.Set("from", strconv.Itoa(from))
		}
		return page.PathShots + "?" + q.Encode()
	}
	if list.Next != "" {
		p.Older = link(list.Next, p.To+1)
	}
	if after != "" {
		p.Newer = link("", 1)
	}
	return httpkit.Page(c, http.StatusOK, p)
}

// shotsCSV gives all shots as a table, or those on one specimen.
func (d *Desk) shotsCSV(c echo.Context) error {
	of := &present.Day{Read: d.read, Scope: d.scope(), Rig: d.Intake.Rig()}
	return d.csv(c, "shots.csv", present.ShotHead(), of.ShotLines(c.Request().Context(), c.QueryParam("specimen")))
}

func (d *Desk) shot(c echo.Context) error {
	p, err := d.shotPage(c, nil)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, *p)
}

// tried is a form that was not accepted.
type tried struct {
	form          string // its id
	unit          string // in which its pressure was typed, "" where it has none
	typed, faults map[string]string
}

// into shows the form again with what was typed and what is wrong. A pressure
// above the maximum allowed is recorded only when a person says that it was so.
func (t *tried) into(f *page.Form) {
	if t.typed[page.AboveField] == "ask" {
		delete(t.typed, page.AboveField)
		f.Fields = append(f.Fields, page.AboveRatedField())
	}
	if t.typed[page.DoubtField] == "ask" {
		delete(t.typed, page.DoubtField)
		f.Fields = append(f.Fields, page.MeantSoField())
	}
	f.Values, f.Errors = t.typed, map[string]string{}
	for name, text := range t.faults {
		f.Errors[name] = httpkit.Stop(text)
	}
}

// again shows the one of the forms that was tried with what was typed and what is
// wrong; t may be nil.
func (t *tried) again(forms ...*page.Form) {
	for _, f := range forms {
		if t != nil && f.ID == t.form {
			f.Values, f.Errors = t.typed, t.faults
		}
	}
}

// shotPage makes the screen of one shot.
func (d *Desk) shotPage(c echo.Context, t *tried) (*page.Shot, error) {
	ctx := c.Request().Context()
	id, err := d.id(c)
	if err != nil {
		return nil, err
	}
	row, err := d.read.Shot(ctx, d.scope(), id)
	if err != nil {
		return nil, err
	}
	scores, err := d.read.Scores(ctx, d.scope(), id)
	if err != nil {
		return nil, err
	}
	in := d.unit(ctx)
	if t != nil && slices.Contains(lab.PressureUnits(), t.unit) {
		in = t.unit // what was typed stays in its unit
	}
	p := present.Shot(&row, scores, time.Local, in)
	if p.Limits, err = present.Limits(ctx, d.read, d.scope(), &row, scores); err != nil {
		return nil, err
	}
	if p.Mounted, err = present.MountedAt(ctx, d.read, d.scope(), &row, scores, nil); err != nil {
		return nil, err
	}
	p.Frame, p.Lab = d.frame(c, "Shot", page.PathShots), d.LabName()
	switch rig, err := d.read.Rig(ctx, d.scope(), row.Shot.Rig); {
	case err == nil:
		p.Rig = rig.Rig.Name
	case problem.Of(err) != problem.NotFound:
		return nil, err
	}
	p.Origin = "lab " + row.Lab.String()
	if row.Shot.Specimen != "" {
		p.Title = "Shot on " + row.Shot.Specimen
	}
	if present.Waiting(&row) || t != nil && t.form == "assign" {
		f := d.assignForm(&row, "assign", in)
		p.Assign = &f
	}
	if err := d.trail(ctx, &p, &row, scores, in); err != nil {
		return nil, err
	}
	for _, f := range []*page.Form{p.Assign, p.Correct, p.Fired, p.Void} {
		if t != nil && f != nil && f.ID == t.form {
			t.into(f)
		}
	}
	if len(scores) > 0 && len(scores[0].Score.Faults) > 1 {
		p.Errors = nil
		for _, f := range scores[0].Score.Faults {
			p.Errors = append(p.Errors, present.FileError(f))
		}
	}
	if p.Gap, err = d.openGap(ctx, &row, scores); err != nil {
		return nil, err
	}
	if err := d.acceptForm(c, &p, &row); err != nil {
		return nil, err
	}
	late, err := d.counted(ctx, &row)
	if err != nil {
		return nil, err
	}
	p.Notices = append(p.Notices, late...)
	of, err := present.RigFlags(ctx, d.read, d.scope(), id)
	if err != nil {
		return nil, err
	}
	p.Flags = append(of, p.Flags...)
	if err := d.inspectionsOf(c, &p, &row); err != nil {
		return nil, err
	}
	if d.mayRemap(ctx, &row) {
		p.AnotherMap = page.AnotherMapPath(id.String())
	}
	if p.Overlays, err = present.Overlays(ctx, d.read, d.scope(), &row, time.Local); err != nil {
		return nil, err
	}
	d.fillSource(ctx, &p, &row)
	d.shockSection(ctx, c, &p, &row)
	return &p, d.neighbours(ctx, &p, &row)
}

// fillSource adds what lies in the blob store: size, map, traces. Bytes that
// another agent of the lab has, and this one not, are said to be elsewhere.
func (d *Desk) fillSource(ctx context.Context, p *page.Shot, row *view.ShotRow) {
	if by := row.Map(); by != (record.Hash{}) {
		if f, _, err := d.Blobs.Open(ctx, by); err == nil {
			b, err := io.ReadAll(io.LimitReader(f, 64<<10))
			f.Close()
			if err == nil {
				p.Map.Text = string(b)
			}
		}
	}
	if has, _, err := d.Blobs.Has(ctx, row.Shot.SourceSHA256); err == nil && !has {
		p.Source.Href, p.Source.Absent = "", "kept by the agent that took it in"
		p.NoTraces = "The bytes of this shot are not on this machine."
		return
	}
	var err error
	if p.Traces, p.NoTraces, err = d.traces.of(ctx, row); err != nil {
		p.NoTraces = "The traces cannot be read: " + sentence(err)
		d.Log.Error("traces", "shot", row.ID, "error", err)
	}
}

func sentence(err error) string {
	if pr, ok := problem.As(err); ok {
		return pr.What + " " + pr.Fix
	}
	return err.Error()
}

// neighbours links to the shots fired before and after.
func (d *Desk) neighbours(ctx context.Context, p *page.Shot, row *view.ShotRow) error {
	at := row.Shot.EffectiveAt
	before, err := d.read.Shots(ctx, d.scope(), view.ShotFilter{To: at}, view.Page{Limit: 1})
	if err != nil {
		return err
	}
	after, err := d.read.Shots(ctx, d.scope(), view.ShotFilter{From: at + 1, Oldest: true}, view.Page{Limit: 1})
	if err != nil {
		return err
	}
	if len(before.Rows) > 0 {
		p.Previous = page.ShotPath(before.Rows[0].ID.String())
	}
	if len(after.Rows) > 0 {
		p.Next = page.ShotPath(after.Rows[0].ID.String())
	}
	return nil
}

// serveBlob sends stored bytes as a download.
func (d *Desk) serveBlob(c echo.Context, sum [32]byte, name string) error {
	f, size, err := d.Blobs.Open(c.Request().Context(), sum)
	if err != nil {
		return err
	}
	defer f.Close()
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, echo.MIMEOctetStream)
	h.Set(echo.HeaderContentDisposition, httpkit.Disposition(name))
	h.Set(echo.HeaderContentLength, strconv.FormatInt(size, 10))
	h.Set("ETag", fmt.Sprintf(`"%x"`, sum))
	c.Response().WriteHeader(http.StatusOK)
	_, err = io.Copy(c.Response(), f)
	if problem.Of(err) == problem.Damaged {
		return errors.Join(err, http.ErrAbortHandler)
	}
	return err
}

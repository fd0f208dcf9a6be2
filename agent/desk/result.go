package desk

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// result shows the wait for the confirmed shot's file, or the newest shot.
func (d *Desk) result(c echo.Context) error {
	p, err := d.resultPage(c, nil)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, *p)
}

func (d *Desk) resultPage(c echo.Context, t *tried) (*page.Outcome, error) {
	ctx := c.Request().Context()
	p := &page.Outcome{Frame: d.frame(c, "Result", page.PathResult)}
	p.Refresh = 1
	failed, err := d.checkNotices(ctx, true)
	if err != nil {
		return nil, err
	}
	p.Notices = append(p.Notices, failed...)
	e, err := d.waiting(ctx)
	if err != nil {
		return nil, err
	}
	if e != nil {
		if p.Wait, err = d.wait(ctx, e); err != nil {
			return nil, err
		}
		t.again(&p.Wait.End, &p.Wait.NoFile)
	}
	list, err := d.read.Shots(ctx, d.scope(), view.ShotFilter{Arrival: true, Rig: d.Intake.Rig()}, view.Page{Limit: 1 + secondFilesPassed})
	if err != nil || len(list.Rows) == 0 {
		return p, err
	}
	newest := newestStroke(list.Rows)
	if p.Whole, err = d.whole(ctx, newest, ""); err != nil {
		return nil, err
	}
	if p.Whole == nil {
		if err := d.second(ctx, p, newest); err != nil {
			return nil, err
		}
	}
	shown, of := newest, &list.Rows[0]
	if e == nil {
		if shown, err = d.stays(ctx, newest); err != nil {
			return nil, err
		}
		if shown != newest {
			of = shown
			if acceptable(newest) {
				p.Another = another(newest)
			}
		}
	}
	if err := d.outcome(c, p, shown, e); err != nil {
		return nil, err
	}
	if p.Undecided, p.MoreUndecided, err = d.undecided(ctx, shown); err != nil {
		return nil, err
	}
	verdict, err := d.checkVerdict(ctx, of)
	if err != nil {
		return nil, err
	}
	p.Notices = append(p.Notices, verdict...)
	late, err := d.counted(ctx, shown)
	if err != nil {
		return nil, err
	}
	p.Notices = append(p.Notices, late...)
	t.again(&p.Void)
	return p, nil
}

// wait says what is waited for, and by which rule its file counts as finished.
func (d *Desk) wait(ctx context.Context, e *view.ExpectedRow) (*page.Wait, error) {
	x := &e.Expected
	w := &page.Wait{What: d.awaited(ctx, x), Confirm: page.Since{At: present.Moment(x.EffectiveAt, time.Local)}}
	hidden := map[string]string{"expected": e.ID.String()}
	w.End = page.Form{ID: "end", Action: page.PostEnd, Fields: page.EndFields(), Values: map[string]string{"reason": "not fired"}, Hidden: hidden, Submit: "It was not fired"}
	w.NoFile = page.Form{ID: "nofile", Action: page.PostEnd, Fields: page.EndFields(), Hidden: map[string]string{"expected": e.ID.String(), "fired": "yes"}, Submit: "Count the stroke"}
	if x.Kind == lab.ShotHit {
		if err := d.askHit(ctx, &w.NoFile, x); err != nil {
			return w, err
		}
	}
	for _, f := range d.Intake.Folders() {
		row := page.WaitFolder{Dir: f.Dir, Rule: f.Rule}
		if f.Problem != "" {
			row.Problem = f.Problem + " " + f.Fix
		}
		for i, one := range f.Waiting {
			if i == shownWaiting {
				row.Files = append(row.Files, fmt.Sprintf("and %d more", len(f.Waiting)-i))
				break
			}
			row.Files = append(row.Files, one.Name+": "+one.Why)
		}
		w.Folders = append(w.Folders, row)
	}
	bad, err := d.read.Quarantine(ctx, d.scope(), false, view.Page{Limit: shownWaiting})
	if err != nil {
		return w, err
	}
	copies, err := d.Intake.Copies(ctx)
	if err != nil {
		return w, err
	}
	for of, all := range copies {
		for _, one := range all[max(0, len(all)-shownWaiting):] {
			if one.At > x.EffectiveAt {
				w.Bad = append(w.Bad, d.cameAgain(ctx, of, one.Name))
			}
		}
	}
	slices.SortFunc(w.Bad, func(a, b page.Notice) int { return strings.Compare(a.Text, b.Text) })
	for i := range bad.Rows {
		if q := &bad.Rows[i]; q.RecordedAt.After(x.EffectiveAt.Time()) {
			w.Bad = append(w.Bad, page.Notice{Level: page.Bad, Text: q.Quarantine.FileName + " came, and nothing in it can be read: " + q.Quarantine.Error.What, Fix: q.Quarantine.Error.Fix + " Its bytes are kept under Quarantine. If it was this shot, say below that no file came."})
		}
	}
	seen, err := d.seenWhile(ctx, x)
	w.Bad = append(w.Bad, seen...)
	return w, err
}

// cameAgain says that a file came whose bytes are in quarantine already.
func (d *Desk) cameAgain(ctx context.Context, of uuid.UUID, name string) page.Notice {
	n := page.Notice{Level: page.Bad, Text: name + " came, and nothing in it can be read: its bytes are in quarantine already.", Fix: "If it was this shot, say below that no file came."}
	if q, err := d.read.Quarantined(ctx, d.scope(), of); err == nil {
		n.Text = name + " came, and nothing in it can be read: it has the same bytes as " + q.Quarantine.FileName + ", which is in quarantine (" + q.Quarantine.Error.What + ")."
		n.Fix = q.Quarantine.Error.Fix + " " + n.Fix
	}
	return n
}

// outcome shows one shot; e is the shot that is waited for, if any.
func (d *Desk) outcome(c echo.Context, p *page.Outcome, row *view.ShotRow, e *view.ExpectedRow) error {
	ctx := c.Request().Context()
	scores, err := d.read.Scores(ctx, d.scope(), row.ID)
	if err != nil {
		return err
	}
	s := present.Shot(row, scores, time.Local, d.unit(ctx))
	s.Title = present.Kind(row.Shot.Kind) + ", not assigned"
	switch {
	case row.Shot.Specimen != "":
		s.Title = row.Shot.Specimen
		if row.Shot.Location != "" {
			s.Title += ", " + row.Shot.Location
		}
	case row.Shot.Kind != lab.ShotHit:
		s.Title = present.Kind(row.Shot.Kind)
	}
	if s.Limits, err = present.Limits(ctx, d.read, d.scope(), row, scores); err != nil {
		return err
	}
	ofRig, err := present.RigFlags(ctx, d.read, d.scope(), row.ID)
	if err != nil {
		return err
	}
	s.Flags = append(ofRig, s.Flags...)
	tolerance, err := d.toleranceOf(c, row)
	if err != nil {
		return err
	}
	p.Speed = present.SpeedVerdict(row.SpeedMS(), row.Shot.TargetSpeedMS, tolerance)
	if t := row.Shot.TargetSpeedMS; t != nil {
		p.Target = page.Show(*t, "m/s")
	}
	if p.Wait == nil {
		d.fillSource(ctx, &s, row)
	}
	if present.Waiting(row) {
		p.Assign = page.ShotAssignHref(row.ID.String())
	}
	if row.Shot.Kind == lab.ShotHit && strings.TrimSpace(row.Shot.Specimen) != "" {
		s.Inspect = page.InspectPath(row.ID.String())
	}
	if d.mayRemap(ctx, row) {
		s.AnotherMap = page.AnotherMapPath(row.ID.String())
	}
	p.Shot = &s
	all, err := d.read.Acceptances(ctx, d.scope(), row.ID)
	if err != nil {
		return err
	}
	accepted := newest(all)
	hidden := map[string]string{"shot": row.ID.String()}
	p.Accepted = present.Accepted(accepted, row, d.personName, time.Local)
	if !accepted.Of(row) && !row.Void() {
		p.Accept = page.Form{ID: "primary", Action: page.PostAccept, Submit: "Accept, and next", Hidden: hidden}
	}
	if p.Wait == nil && !accepted.Of(row) {
		if s.Gap, err = d.gap(ctx, row, scores); err != nil {
			return err
		}
		if s.Gap != nil {
			p.Accept = page.Form{} // the question has both answers
		}
	}
	if !row.Void() {
		p.Void = page.Form{ID: "void", Action: page.PostVoid, Fields: page.VoidFields(), Submit: "Make it void", Hidden: map[string]string{"shot": row.ID.String(), page.SeenField: amend.Seen(row), acceptedField: acceptedSeen(all)}}
	} else if row.Shot.Specimen != "" {
		p.Back = "It does not count; where it was planned, the hit is in the run order again."
	}
	if e != nil && present.Waiting(row) && row.RecordedAt.After(e.Expected.EffectiveAt.Time()) {
		p.Bind = &page.Form{Action: page.PostBind, Submit: "It is the confirmed shot", Hidden: map[string]string{"shot": row.ID.String(), "expected": e.ID.String()}}
	}
	return nil
}

func (d *Desk) formID(c echo.Context, name string) (uuid.UUID, error) {
	id, err := uuid.Parse(c.FormValue(name))
	if err != nil {
		return id, problem.New(problem.Invalid, "The form does not say what it is about.", "Reload the page and try again.")
	}
	return id, nil
}

// voidResult makes a shot void; its hit is then in the run order again.
func (d *Desk) voidResult(c echo.Context) error {
	id, err := d.formID(c, "shot")
	if err != nil {
		return err
	}
	reason := c.FormValue("reason")
	if reason != "" {
		if err := d.stillUndecided(c, id); err != nil {
			return err
		}
		_, err = d.Intake.Amend(c.Request().Context(), id, amend.Void(reason, false, c.FormValue(page.SeenField), d.author(c)))
		if err != nil {
			return err
		}
		return httpkit.SeeOther(c, page.PathNext)
	}
	p, err := d.resultPage(c, &tried{form: "void", faults: map[string]string{"reason": "This is needed."}})
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
}

// bindShot says that a file that was taken for another shot is the confirmed one.
func (d *Desk) bindShot(c echo.Context) error {
	shot, err := d.formID(c, "shot")
	if err != nil {
		return err
	}
	expected, err := d.formID(c, "expected")
	if err != nil {
		return err
	}
	if err := d.Intake.Bind(c.Request().Context(), expected, shot, d.author(c)); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathResult)
}

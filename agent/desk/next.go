package desk

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/speed"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const orderAtOnce = 40 // rows of the run order that are shown

// write records a fact of the rig's lab, by who acts on the screen.
func (d *Desk) write(c echo.Context, id uuid.UUID, bodies ...lab.Body) error {
	var drafts []ledger.Draft
	for _, b := range bodies {
		kind, schema, body, err := lab.Encode(b)
		if err != nil {
			if p, ok := problem.As(err); ok {
				return p
			}
			return err
		}
		drafts = append(drafts, ledger.Draft{Kind: kind, Schema: schema, Author: cmp.Or(d.author(c), "node"), UID: id, Body: body})
	}
	if _, err := d.Ledger.Append(c.Request().Context(), d.Intake.Lab(), drafts...); err != nil {
		return err
	}
	d.Wake()
	return nil
}

// waiting gives the shot whose file is to come, nil when there is none.
func (d *Desk) waiting(ctx context.Context) (*view.ExpectedRow, error) {
	e, err := d.read.LastExpected(ctx, scope.Labs(d.Intake.Lab()), d.Intake.Rig())
	if err != nil || e == nil || !e.Open() {
		return nil, err
	}
	return e, nil
}

// specimensOut says of the specimens of a campaign that failed an inspection why
// they are not offered again; keys are folded.
func (d *Desk) specimensOut(ctx context.Context, campaign uuid.UUID) (map[string]string, error) {
	also, err := d.labs(ctx)
	if err != nil {
		return nil, err
	}
	rows, err := d.read.SpecimensOut(ctx, d.scope(), campaign, also...)
	out := make(map[string]string, len(rows))
	for name, r := range rows {
		out[name] = strings.TrimSuffix("failed its inspection: "+r.Inspection.Reason, ": ")
	}
	return out, err
}

// labs are the ids under which this agent wrote: before it was enrolled, and after.
func (d *Desk) labs(ctx context.Context) (ids []record.LabID, err error) {
	rows, err := d.read.Labs(ctx, d.scope(), 0)
	for _, l := range rows {
		ids = append(ids, l.Lab)
	}
	return ids, err
}

func (d *Desk) unit(ctx context.Context) string {
	u, err := d.read.PressureUnit(ctx, d.scope())
	if err != nil {
		d.Log.Error("unit of pressure", "error", err)
	}
	return cmp.Or(u, "kPa")
}

// typedUnit is the unit in which a form's pressure was typed: the one that stood
// beside the field, whatever was chosen since.
func typedUnit(c echo.Context) string { return cmp.Or(c.FormValue(page.UnitField), "kPa") }

func (d *Desk) next(c echo.Context) error {
	e, err := d.waiting(c.Request().Context())
	if err != nil {
		return err
	}
	if e != nil { // one thing at a time
		return httpkit.SeeOther(c, page.PathResult)
	}
	p, err := d.nextPage(c, nil)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, *p)
}

// nextPage makes the screen; t is a form that was not accepted.
func (d *Desk) nextPage(c echo.Context, t *tried) (*page.Next, error) {
	ctx := c.Request().Context()
	in := d.unit(ctx)
	h, err := speed.Read(ctx, d.read, d.scope(), d.Intake.Rig(), time.Now())
	if err != nil {
		return nil, err
	}
	p := &page.Next{Frame: d.frame(c, "Next shot", page.PathNext), Why: "There is no campaign on this computer. A manager makes one on the server; a free shot can be fired at any time."}
	accepted, err := d.acceptedNotice(c)
	if err != nil {
		return nil, err
	}
	p.Notices = append(p.Notices, accepted...)
	p.Notices = append(p.Notices, folderNotices(d.Intake.Folders())...)
	p.Notices = append(p.Notices, comingNotices(d.Intake.Folders())...)
	p.Notices = append(p.Notices, d.draftNotices(ctx)...)
	open, err := d.gapNotices(ctx)
	if err != nil {
		return nil, err
	}
	if len(open) > 1 {
		open = []page.Notice{{Level: page.Warn, Text: fmt.Sprintf("%d shots of the plan lack a channel, and nobody has said whether to keep them.", len(open)), Link: "Choose for each", Href: page.PathAssign}}
	}
	p.Notices = append(p.Notices, open...)
	checked, err := d.checkNotices(ctx, false)
	if err != nil {
		return nil, err
	}
	p.Notices = append(p.Notices, checked...)
	if err := d.readyNotice(ctx, p); err != nil {
		return nil, err
	}
	p.Free = page.Form{ID: "free", Action: page.PostConfirm, Key: uuid.NewString(), Fields: page.FreeFields(in), Submit: "Confirmed: wait for its file",
		Values: map[string]string{"kind": lab.ShotHit}, Choices: map[string][]page.Choice{"condition": present.Conditions()}}
	if p.FreeDry = c.QueryParam("kind") == lab.ShotDry; p.FreeDry {
		p.Free.Values["kind"] = lab.ShotDry
	}
	plans, err := d.planned(ctx)
	if err != nil {
		return nil, err
	}
	plans.choices(p.Free.Choices)
	if n := len(h.Since); n > 0 && !(h.Rated > 0 && h.Since[n-1].PressureKPa > h.Rated) {
		p.Free.Values["pressure"] = present.PressureText(h.Since[n-1].PressureKPa, in)
	}
	p.Unit = page.Form{ID: "unit", Action: page.PostUnit, Submit: "Use it", Values: map[string]string{"pressure": in},
		Fields: []page.Field{{Name: "pressure", Label: "Pressures are typed and shown in", Kind: "select", Options: unitChoices()}}}
	if err := d.campaign(c, p, &h, in); err != nil {
		return nil, err
	}
	p.Notices = append(p.Notices, d.bookedNotices(ctx, p.Campaign)...)
	if err := d.freeTimers(ctx, p, time.Now()); err != nil {
		return nil, err
	}
	kpa, missing := h.Guided()
	for i := range kpa {
		if kpa[i] > 0 {
			f := page.Form{Action: page.PostConfirm, Key: uuid.NewString(), Submit: "Set: wait for its file", Hidden: map[string]string{"kind": lab.ShotDry, "pressure": present.PressureText(kpa[i], in)}}
			p.Guided = append(p.Guided, page.GuidedRow{Pressure: present.Pressure(kpa[i], in), Missing: missing[i], Form: f})
		}
	}
	for _, f := range []*page.Form{&p.Confirm, &p.Free} {
		if t != nil && f.ID == t.form {
			t.into(f)
		}
	}
	return p, nil
}

func unitChoices() (out []page.Choice) {
	for _, u := range lab.PressureUnits() {
		out = append(out, page.Choice{Value: u, Text: u})
	}
	return out
}

// campaign finds the run order that is followed: the one that was asked for,
// else that of the last confirmed shot, else the first with a hit to fire.
func (d *Desk) campaign(c echo.Context, p *page.Next, h *speed.History, in string) error {
	ctx := c.Request().Context()
	list, err := d.read.Campaigns(ctx, d.scope(), view.Page{Limit: view.MaxLimit})
	if err != nil || len(list.Rows) == 0 {
		return err
	}
	want := c.QueryParam("campaign")
	if want == "" {
		want = c.FormValue("campaign")
	}
	if last, err := d.read.LastExpected(ctx, d.scope(), d.Intake.Rig()); err != nil {
		return err
	} else if want == "" && last != nil && last.Expected.Campaign != uuid.Nil {
		want = last.Expected.Campaign.String()
	}
	at := 0
	for i := range list.Rows {
		p.Campaigns = append(p.Campaigns, page.Choice{Value: list.Rows[i].ID.String(), Text: list.Rows[i].Campaign.Name})
		if list.Rows[i].ID.String() == want {
			at = i
		}
	}
	id := list.Rows[at].ID
	p.Campaign = id.String()
	also, err := d.labs(ctx)
	if err != nil {
		return err
	}
	o, err := d.read.RunOrder(ctx, d.scope(), id, also...)
	if err != nil {
		return err
	}
	out, err := d.specimensOut(ctx, id)
	if err != nil {
		return err
	}
	p.Left, p.Done, p.Skipped = o.Count(view.StepOpen), o.Count(view.StepDone), o.Count(view.StepSkipped)
	n := o.Next(func(s view.RunStep) bool { return out[lab.Fold(s.Specimen)] == "" })
	var first *view.RunStep
	p.Why = "Every planned hit of this campaign is done or skipped."
	if p.Left > 0 {
		p.Why = "What is left to fire is on specimens that failed their inspection."
	}
	if n >= 0 {
		first = &o.Steps[n]
		if err := d.step(ctx, p, &o, first, h, in); err != nil {
			return err
		}
	}
	for i := range o.Steps {
		s := &o.Steps[i]
		if s.State == view.StepDone {
			continue
		}
		if len(p.Order) == orderAtOnce {
			p.More++
			continue
		}
		p.Order = append(p.Order, present.OrderRow(s, hitOf(&o, s), p.Campaign, first, out[lab.Fold(s.Specimen)]))
	}
	return nil
}

// hitOf is "hit 2 of 3".
func hitOf(o *view.RunOrder, s *view.RunStep) string {
	n := 0
	for _, c := range o.Campaign.Campaign.Cells {
		if lab.Fold(c.Location) == lab.Fold(s.Location) && lab.Fold(c.Condition) == lab.Fold(s.Condition) && lab.MillimetresPerSecond(c.TargetSpeedMS) == lab.MillimetresPerSecond(s.TargetSpeedMS) {
			n = c.Planned
		}
	}
	return fmt.Sprintf("hit %d of %d", s.Hit, n)
}

// step shows one planned hit, with its timers and the pressure for it.
func (d *Desk) step(ctx context.Context, p *page.Next, o *view.RunOrder, s *view.RunStep, h *speed.History, in string) error {
	v := &page.Step{Specimen: s.Specimen, Location: s.Location, Condition: s.Condition, Hit: hitOf(o, s), Target: page.Show(s.TargetSpeedMS, "m/s")}
	if s.ToleranceMS > 0 {
		v.Tolerance = page.Show(s.ToleranceMS, "m/s")
	}
	prop, why := h.Propose(s.TargetSpeedMS, s.ToleranceMS)
	present.ProposePressure(v, prop, why, in)
	if h.Rated > 0 {
		n := present.Pressure(h.Rated, in).Number
		v.Most = n.Text + "\u00a0" + n.Unit
	}
	out, err := d.read.TakenOut(ctx, d.scope(), s.Specimen)
	if err != nil {
		return err
	}
	// A hit that is dated ahead is seen too: the clock was set back since.
	last, err := d.read.LastHit(ctx, d.scope(), s.Specimen, lab.At(time.Now().AddDate(100, 0, 0)))
	if err != nil {
		return err
	}
	v.Ambient = lab.Fold(s.Condition) == lab.Ambient && out == 0
	v.Out.At = present.Moment(out, time.Local)
	if last != nil {
		v.Rest.At = present.Moment(last.At, time.Local)
	}
	k, now := &o.Campaign.Campaign, time.Now()
	v.Out.Limit = present.OutLimit(k.MostOutOfChamberS, v.Out.At, now, k.Conditioned(s.Condition))
	v.Rest.Limit = present.RestLimit(k.LeastRestS, v.Rest.At, now)
	p.Notices = append(p.Notices, d.jumpNotice(v.Out.At, s.Specimen+" left its chamber")...)
	p.Notices = append(p.Notices, d.jumpNotice(v.Rest.At, "the last hit on "+s.Specimen)...)
	bare, err := d.bareHitNotice(ctx, s.Specimen)
	if err != nil {
		return err
	}
	p.Notices = append(p.Notices, bare...)
	hidden := present.StepFields(s.RunStep)
	hidden["campaign"] = p.Campaign
	v.OutForm = page.Form{Action: page.PostTakenOut, Submit: "Out of the chamber now", Hidden: map[string]string{"specimen": s.Specimen, "condition": s.Condition, "campaign": p.Campaign}}
	if out != 0 {
		v.OutForm.Submit, v.OutForm.Hidden["back"] = "It is back in", "yes"
	}
	p.Step = v
	p.Confirm = page.Form{ID: "confirm", Action: page.PostConfirm, Key: uuid.NewString(), Fields: page.ConfirmFields(in), Submit: "Confirmed: wait for its file",
		Values: map[string]string{}, Hidden: hidden, Fold: page.MeasuredFold}
	p.Skip = append(p.Skip, page.NavItem{Text: "Skip to the pressure", Href: "#confirm-pressure"})
	if why == nil {
		p.Confirm.Values["pressure"] = present.PressureText(prop.PressureKPa.Value, in)
	}
	return nil
}

package desk

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// plans shows the service plans of the caller's labs.
func (d *Desk) plans(c echo.Context) error { return d.plansPage(c, nil, http.StatusOK) }

func (d *Desk) plansPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Plans{Frame: d.frame(&p, "Service plans", page.PathEquipment), Lab: c.QueryParam("lab")}
	said(c, &s.Frame, map[string]string{"plan": "The plan is set. What is due follows it from now on."})
	if labs := p.names.All(); len(labs) > 1 {
		s.Labs = choices(labs)
	}
	sc := p.Scope
	if s.Lab != "" {
		in, err := d.place(ctx, &p, s.Lab)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	follow, err := d.ownPlans(ctx, &p, &s, func(q view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, sc, "", q) })
	if err != nil {
		return err
	}
	var asked *view.ServicePlanRow
	err = every(ctx, func(q view.Page) (view.List[view.ServicePlanRow], error) { return d.Views.ServicePlans(ctx, sc, q) }, func(r *view.ServicePlanRow) error {
		if lab.Fold(r.Plan.Class) == lab.Fold(c.QueryParam("class")) && r.Lab.String() == s.Lab {
			asked = r
		}
		row, err := d.planRow(ctx, &p, r, follow)
		if err == nil && row != nil {
			s.Rows = append(s.Rows, *row)
		}
		return err
	})
	if err != nil {
		return err
	}
	if labs := p.keeps(); len(labs) > 0 {
		s.MayEdit = true
		s.Form = httpkit.Blank(page.ClassPlanFields(), page.PostClassPlan, "classplan", "Set the plan")
		s.Form.Choices = map[string][]page.Choice{"lab": choices(labs), "class": classes()}
		s.Form.Values = map[string]string{"lab": s.Lab}
		if s.Form.Hidden, err = d.seenPlans(ctx, &p); err != nil {
			return err
		}
		if asked != nil {
			planValues(s.Form.Values, &asked.Plan, map[string]string{"every_strokes": "every_strokes", "every_days": "every_days"})
			s.Form.Values["class"] = asked.Plan.Class
		}
	}
	if typed != nil {
		typed.Into(&s.Form)
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

// seenPlans names all plans of classes as they stand: the form may be sent for any.
func (d *Desk) seenPlans(ctx context.Context, p *caller) (map[string]string, error) {
	var all []string
	err := every(ctx, func(q view.Page) (view.List[view.ServicePlanRow], error) {
		return d.Views.ServicePlans(ctx, p.Scope, q)
	}, func(r *view.ServicePlanRow) error {
		all = append(all, seenPlan(r.ID, &r.Head))
		return nil
	})
	return map[string]string{page.SeenField: strings.Join(all, " ")}, err
}

func classes() []page.Choice {
	var out []page.Choice
	for _, c := range lab.Classes() {
		out = append(out, page.Choice{Value: c, Text: c})
	}
	return out
}

// byClass names a class of a lab.
type byClass struct {
	lab   record.LabID
	class string // folded
}

// ownPlans lists the items with a plan of their own, and counts the others by
// lab and class.
func (d *Desk) ownPlans(ctx context.Context, p *caller, s *page.Plans, items func(view.Page) (view.List[view.ItemRow], error)) (map[byClass]int, error) {
	follow := map[byClass]int{}
	err := every(ctx, items, func(i *view.ItemRow) error {
		l, err := p.names.Lab(ctx, i.Lab)
		if err != nil || l == nil {
			return err
		}
		own, ok := i.Item.OwnPlan()
		if !ok {
			follow[byClass{l.ID, lab.Fold(i.Item.Class)}]++
			return nil
		}
		s.Own = append(s.Own, page.OwnPlanRow{Lab: l.Title(), Item: i.Item.Title(), Class: i.Item.Class, Plan: present.PlanWords(&own), Href: page.ItemUsePath(i.ID.String())})
		return nil
	})
	return follow, err
}

// planRow is nil for a plan that was taken away.
func (d *Desk) planRow(ctx context.Context, p *caller, r *view.ServicePlanRow, follow map[byClass]int) (*page.PlanRow, error) {
	unsettled := r.Unsettled(lab.KindServicePlan)
	if r.Plan.Empty() && len(unsettled) == 0 {
		return nil, nil
	}
	l, err := p.names.Lab(ctx, r.Lab)
	if err != nil || l == nil {
		return nil, err
	}
	row := &page.PlanRow{Lab: l.Title(), Class: r.Plan.Class, Plan: present.PlanWords(&r.Plan), Items: page.ShowCount(int64(follow[byClass{l.ID, lab.Fold(r.Plan.Class)}]))}
	for _, f := range unsettled {
		e := r.Edited[f]
		all := []string{fmt.Sprint(e.Value)}
		for _, o := range e.Others {
			all = append(all, fmt.Sprint(o.Value))
		}
		slices.Sort(all)
		row.Unsettled += labelOf(page.ClassPlanFields(), f) + " was set to " + strings.Join(all, " and to ") + " without sight of each other: set it again. "
	}
	if p.MayKeep(l.ID) {
		row.Href = page.PathPlans + "?" + url.Values{"lab": {l.ID.String()}, "class": {r.Plan.Class}}.Encode() + "#set"
	}
	return row, nil
}

// planValues shows a plan in a form whose fields have the given names.
func planValues(to map[string]string, b *lab.ServicePlan, names map[string]string) {
	for field, n := range map[string]int64{names["every_strokes"]: b.EveryStrokes, names["every_days"]: b.EveryDays, "warn_strokes": b.WarnStrokes, "warn_days": b.WarnDays} {
		if n > 0 {
			to[field] = fmt.Sprint(n)
		}
	}
	for field, on := range map[string]bool{"after_failed_check": b.AfterCheck, "after_speed_drift": b.AfterDrift} {
		if on {
			to[field] = "yes"
		}
	}
}

// planOf reads a plan from a form.
func planOf(f *httpkit.Filled, strokes, days string) lab.ServicePlan {
	return lab.ServicePlan{EveryStrokes: f.Count(strokes), EveryDays: f.Count(days), WarnStrokes: f.Count("warn_strokes"), WarnDays: f.Count("warn_days"),
		AfterCheck: f.Values["after_failed_check"] != "", AfterDrift: f.Values["after_speed_drift"] != ""}
}

func (d *Desk) postClassPlan(c echo.Context) error {
	return d.post(c, page.ClassPlanFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		next := planOf(f, "every_strokes", "every_days")
		next.Class = strings.Join(strings.Fields(f.Values["class"]), " ")
		checkPlan(f, &next)
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		in, err := d.place(ctx, &p, f.Values["lab"])
		if err != nil {
			return "", err
		}
		now := "no plan"
		id := lab.ServicePlanOf(in.ID, next.Class)
		if row, err := d.Views.ServicePlan(ctx, in.Scope, id); err == nil {
			now = present.PlanWords(&row.Plan)
		} else if !missing(err) {
			return "", err
		}
		return done(page.PathPlans, "plan"), d.Register.ClassPlan(ctx, p.Principal, in, next, stillPlan(id, c.FormValue(page.SeenField), c.Request().PostForm.Has(page.SeenField), now))
	}, d.plansPage)
}

// checkPlan says at its field what cannot be meant. A plan with nothing in it
// takes the class's plan away, so its fields are left empty, not zero.
func checkPlan(f *httpkit.Filled, p *lab.ServicePlan) {
	if !slices.ContainsFunc(lab.Classes(), func(c string) bool { return lab.Fold(c) == lab.Fold(p.Class) }) {
		f.Fault("class", "There is no such kind of equipment. Choose one of the list.")
	}
	for field, n := range map[string]int64{"every_strokes": p.EveryStrokes, "every_days": p.EveryDays} {
		if f.Values[field] != "" && n == 0 {
			f.Fault(field, "An interval of nothing is none. Give a number above zero, or leave it empty.")
		}
	}
	for _, e := range httpkit.Problems(register.PlanFaults(p)) {
		f.Fault(e.Where, "%s", e.What+" "+e.Fix)
	}
}

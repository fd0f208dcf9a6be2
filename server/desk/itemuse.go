package desk

import (
	"cmp"
	"context"
	"fmt"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// itemUse shows what an item went through.
func (d *Desk) itemUse(c echo.Context) error {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return notFound("item")
	}
	return d.itemUsePage(c, id, "", nil, http.StatusOK)
}

func (d *Desk) itemUsePage(c echo.Context, id uuid.UUID, posted string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	now := d.Now()
	own, err := d.ownedItem(ctx, &p, id)
	if err != nil {
		return err
	}
	watch := &upkeep.Watch{Read: d.Views, Scope: p.Scope, Now: now}
	u, err := watch.Of(ctx, id, own.in.IDs...)
	if err != nil {
		return err
	}
	w, err := d.Views.Wear(ctx, p.Scope, id, now)
	if err != nil {
		return err
	}
	of, err := p.names.Lab(ctx, u.Item.Lab)
	if err != nil || of == nil {
		return cmp.Or(err, notFound("item"))
	}
	i := &u.Item.Item
	s := page.ItemUse{Frame: d.frame(&p, i.Title(), page.PathEquipment), ID: id.String(), Item: i.Title(), Kind: i.Class, Lab: of.Title(), Asset: i.AssetNumber, Model: i.Model,
		State: inState(&u.Usage), Service: present.ServiceDue(&u.ServiceDue, d.zone), SinceService: page.ShowCount(u.StrokesSinceService), Strokes: page.ShowCount(u.TotalStrokes),
		Shots: page.ShowCount(w.Shots), DaysMounted: present.Count(int64(w.DaysMounted), "day", "days"), EnergyOf: present.Count(w.EnergyOf, "stroke", "strokes")}
	s.Energy, s.Hardest = page.Missing("no stroke has an energy"), page.Missing("no stroke has a peak")
	if w.EnergyOf > 0 {
		s.Energy = page.ShowWhole(w.EnergyJ, "J")
	}
	if w.Hardest != nil {
		s.Hardest, s.HardestHref, s.HardestAt = page.Show(w.HardestPeakG, "g"), page.ShotPath(w.Hardest.ID.String()), w.Hardest.Shot.EffectiveAt.Time().In(d.zone)
	}
	if i.OpeningStrokes > 0 {
		s.Opening = page.ShowCount(i.OpeningStrokes)
	}
	if u.Corrected != 0 {
		s.Corrected = page.ShowCount(u.Corrected)
	}
	switch {
	case u.PlannedStrokes > 0 && u.About != 0:
		s.Rate = fmt.Sprintf("%s planned by campaigns with dates at this rig, and beside them %.1f strokes a day as over the last 13 weeks; the range holds the date nine times in ten if campaigns keep their dates, others follow when they are over, and the rest goes on as it was.", present.Count(u.PlannedStrokes, "stroke", "strokes"), u.PerDay)
	case u.PerDay > 0:
		s.Rate = fmt.Sprintf("%.1f strokes a day over the last 13 weeks; the range holds the date nine times in ten if use goes on as it was.", u.PerDay)
	}
	s.Plan, s.PlanHref = present.PlanOf(&u.Plan), page.PathPlans
	for j := range u.Causes {
		state, reason := present.CauseWords(&u.Causes[j], d.zone)
		s.Causes = append(s.Causes, page.SeenCause{State: state, Reason: reason, Href: page.ShotPath(u.Causes[j].Shot.String())})
	}
	open, err := d.Views.OrdersToSee(ctx, p.Scope, id)
	if err != nil {
		return err
	}
	for j := range open {
		s.Orders = append(s.Orders, page.WorkOrderRow{ID: open[j].ID.String(), What: open[j].Order.What, AssignedTo: open[j].Order.AssignedTo, State: present.OrderWord(&open[j], d.zone)})
	}
	if p.MayKeep(of.ID) {
		s.NewOrder = page.NewOrderPath(s.ID, lab.OrderByHand)
	}
	if u.UndatedStrokes > 0 && u.Planned() {
		s.Rate += " " + present.Count(u.UndatedStrokes, "stroke is", "strokes are") + " still to do in campaigns without dates, or past them: they only bring the early end of the range forward."
	}
	rigs, err := d.rigNames(ctx, p.Scope)
	if err != nil {
		return err
	}
	s.Where = whereIs(&u.Usage, rigs)
	if err := d.rigFacts(ctx, &p, &u.Usage, &own, rigs, &s); err != nil {
		return err
	}
	if s.Events, err = d.events(ctx, &p, id, rigs, p.MayKeep(of.ID)); err != nil {
		return err
	}
	if s.FoundOut, err = d.foundOutOf(ctx, &p, id); err != nil {
		return err
	}
	said(c, &s.Frame, map[string]string{"withdrawn": "The entry was withdrawn.", "state": "The state was recorded.", "correction": "The counter was corrected.", "plan": "The service plan was changed.", "rated": "The pressure was recorded. The rig learns it the next time its agent reaches this server."})
	if s.MayEdit = p.MayKeep(of.ID); s.MayEdit {
		useForms(&s, &own.item)
		d.zoned(&s.StateForm, &s.CorrectionForm)
		s.StateForm.Values["effective_at"] = d.Now().In(d.zone).Format("2006-01-02T15:04:05")
	}
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
		forms := []*page.Form{&s.StateForm, &s.CorrectionForm, &s.PlanForm}
		if s.AtRig != nil && s.AtRig.Rated != nil {
			forms = append(forms, s.AtRig.Rated)
		}
		for _, f := range forms {
			if f.Action == posted {
				typed.Into(f)
			}
		}
	}
	return httpkit.Page(c, status, s)
}

func useForms(s *page.ItemUse, row *view.ItemRow) {
	i := &row.Item
	s.StateForm = httpkit.Blank(page.StateFields(), page.PostState, "state", "Record the state")
	s.CorrectionForm = httpkit.Blank(page.CorrectionFields(), page.PostCorrection, "correction", "Correct the counter")
	s.PlanForm = httpkit.Blank(page.PlanFields(), page.PostPlan, "plan", "Change the plan")
	s.StateForm.Values = map[string]string{"item": s.ID, "state": s.State.Word}
	s.CorrectionForm.Values = map[string]string{"item": s.ID}
	s.PlanForm.Values, s.PlanForm.Hidden = map[string]string{"item": s.ID}, map[string]string{page.SeenField: row.Seen(fieldsOfItemPlan...)}
	own, _ := i.OwnPlan()
	planValues(s.PlanForm.Values, &own, map[string]string{"every_strokes": "service_every_strokes", "every_days": "service_every_days"})
	if i.NoServicePlan {
		s.PlanForm.Values["no_service_plan"] = "yes"
	}
}

func inState(u *view.Usage) page.Status {
	word := u.Stated.State()
	switch word {
	case lab.StateInService:
		return page.Status{Level: page.OK, Word: word}
	case lab.StateQuarantined:
		return page.Status{Level: page.Bad, Word: word}
	}
	return page.Status{Level: page.Plain, Word: word}
}

// rigNames gives the names of the rigs of a scope by id.
func (d *Desk) rigNames(ctx context.Context, sc scope.Scope) (map[uuid.UUID]string, error) {
	out := map[uuid.UUID]string{}
	rows, err := d.rigRows(ctx, sc)
	for _, r := range rows {
		out[r.ID] = r.Rig.Name
	}
	return out, err
}

func rigName(rigs map[uuid.UUID]string, id uuid.UUID) string {
	return cmp.Or(rigs[id], "rig "+id.String()[:8])
}

// whereIs says where an item sits, or is kept; "" when nobody said.
func whereIs(u *view.Usage, rigs map[uuid.UUID]string) string {
	if u.Rig != uuid.Nil {
		return rigName(rigs, u.Rig) + ", " + u.Position
	}
	return u.Stated.Location()
}

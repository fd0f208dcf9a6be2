package api

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
)

// planBody is what makes items due for a service, by strokes, by days, and
// after what is seen at their rig. 0 and false: not by this.
type planBody struct {
	EveryStrokes int64 `json:"every_strokes"`
	EveryDays    int64 `json:"every_days"`
	WarnStrokes  int64 `json:"warn_strokes"` // before it is due; 0: the last tenth
	WarnDays     int64 `json:"warn_days"`
	AfterCheck   bool  `json:"after_failed_check"`
	AfterDrift   bool  `json:"after_speed_drift"`
}

func planAnswer(p *lab.ServicePlan) planBody {
	return planBody{p.EveryStrokes, p.EveryDays, p.WarnStrokes, p.WarnDays, p.AfterCheck, p.AfterDrift}
}

func (b *planBody) plan(class string) lab.ServicePlan {
	return lab.ServicePlan{Class: class, EveryStrokes: b.EveryStrokes, EveryDays: b.EveryDays, WarnStrokes: b.WarnStrokes, WarnDays: b.WarnDays, AfterCheck: b.AfterCheck, AfterDrift: b.AfterDrift}
}

type classPlanAnswer struct {
	Class string `json:"class"`
	planBody
	// Unsettled are fields that were set at two places without sight of each
	// other, with the values; setting the plan again settles them.
	Unsettled map[string][]any `json:"unsettled"`
}

type itemPlanAnswer struct {
	Item   uuid.UUID `json:"item"`
	Class  string    `json:"class"`
	Serial string    `json:"serial"`
	itemPlanBody
}

// plans lists the plans of the lab's classes, and of items that have their own.
func (a *API) plans(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	out := struct {
		Classes []classPlanAnswer `json:"classes"`
		Items   []itemPlanAnswer  `json:"items"`
	}{[]classPlanAnswer{}, []itemPlanAnswer{}}
	ctx := c.Request().Context()
	err = every(ctx, func(ctx context.Context, p view.Page) (view.List[view.ServicePlanRow], error) {
		return a.Views.ServicePlans(ctx, in.Scope, p)
	}, func(r *view.ServicePlanRow) error {
		x := classPlanAnswer{Class: r.Plan.Class, planBody: planAnswer(&r.Plan), Unsettled: map[string][]any{}}
		for _, f := range r.Unsettled(lab.KindServicePlan) {
			e := r.Edited[f]
			x.Unsettled[f] = []any{e.Value}
			for i := range e.Others {
				x.Unsettled[f] = append(x.Unsettled[f], e.Others[i].Value)
			}
		}
		if !r.Plan.Empty() || len(x.Unsettled) > 0 { // an empty one was ended
			out.Classes = append(out.Classes, x)
		}
		return nil
	})
	if err != nil {
		return err
	}
	err = a.everyItem(ctx, in, "", func(_ context.Context, i *view.ItemRow) error {
		if own, ok := i.Item.OwnPlan(); ok {
			out.Items = append(out.Items, itemPlanAnswer{Item: i.ID, Class: i.Item.Class, Serial: i.Item.Serial, itemPlanBody: itemPlanBody{planAnswer(&own), i.Item.NoServicePlan}})
		}
		return nil
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

// classOf reads the class of the address.
func classOf(c echo.Context) (string, error) {
	text, err := httpkit.Text(c, "class")
	if err != nil {
		return "", err
	}
	at := slices.IndexFunc(lab.Classes(), func(k string) bool { return lab.Fold(k) == lab.Fold(text) })
	if at < 0 {
		return "", &problem.Error{Code: problem.NotFound, Where: "class", What: "There is no such kind of equipment.", Fix: "Give one of: " + strings.Join(lab.Classes(), ", ") + "."}
	}
	return lab.Classes()[at], nil
}

// setClassPlan sets the plan of a class; with end it takes it away.
func (a *API) setClassPlan(end bool) echo.HandlerFunc {
	return func(c echo.Context) error {
		in, err := a.keeper(c)
		if err != nil {
			return err
		}
		class, err := classOf(c)
		if err != nil {
			return err
		}
		var b planBody
		if !end {
			if err := readPlan(c, &b); err != nil {
				return err
			}
		}
		if err := a.Register.ClassPlan(c.Request().Context(), door.Of(c).Principal, in, b.plan(class), nil); err != nil {
			return whole(err)
		}
		return c.NoContent(http.StatusNoContent)
	}
}

// readPlan takes a plan, which has to make something due.
func readPlan(c echo.Context, b *planBody) error {
	if err := read(c, b); err != nil {
		return err
	}
	p := b.plan("")
	if p.Empty() {
		return &problem.Error{Code: problem.Invalid, Where: "every_strokes", What: "The plan makes nothing due.", Fix: "Give an interval or a condition, or end the plan with DELETE."}
	}
	return whole(register.PlanFaults(&p))
}

// setItemPlan sets the plan that an item has for itself; with end it goes by
// that of its class again.
func (a *API) setItemPlan(end bool) echo.HandlerFunc {
	return func(c echo.Context) error {
		if _, err := a.keeper(c); err != nil {
			return err
		}
		in, item, err := a.item(c)
		if err != nil {
			return err
		}
		var b itemPlanBody
		if !end {
			if err := readItemPlan(c, &b); err != nil {
				return err
			}
		}
		if err := a.Register.Plan(c.Request().Context(), door.Of(c).Principal, in, item.ID, b.plan(item.Item.Class), b.None, nil); err != nil {
			return whole(err)
		}
		return c.NoContent(http.StatusNoContent)
	}
}

// itemPlanBody is the plan that an item has for itself.
type itemPlanBody struct {
	planBody
	None bool `json:"none"` // it goes by no plan, not by that of its class either
}

func readItemPlan(c echo.Context, b *itemPlanBody) error {
	if err := read(c, b); err != nil {
		return err
	}
	p := b.plan("")
	switch {
	case b.None && !p.Empty():
		return &problem.Error{Code: problem.Invalid, Where: "none", What: "An item has a plan or none.", Fix: "Leave none out, or the plan."}
	case !b.None && p.Empty() && b.WarnStrokes == 0 && b.WarnDays == 0:
		return &problem.Error{Code: problem.Invalid, Where: "every_strokes", What: "The plan makes nothing due.", Fix: "Give an interval, a condition or an early warning; \"none\": true for no plan at all; DELETE to go by the plan of its class."}
	}
	return whole(register.PlanFaults(&p))
}

package desk

import (
	"context"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

func (d *Desk) itemUseAgain(path string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error {
		id, err := uuid.Parse(f.Values["item"])
		if err != nil {
			return notFound("item")
		}
		return d.itemUsePage(c, id, path, f, status)
	}
}

// aboutItem records a fact about the item of a form and goes back to its screen.
func (d *Desk) aboutItem(c echo.Context, path, what string, fields []page.Field, body func(*httpkit.Filled, uuid.UUID) lab.Body) error {
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		item, in, err := d.labOfItem(ctx, c, f)
		if err != nil {
			return "", err
		}
		if item == uuid.Nil {
			return "", notFound("item")
		}
		_, err = d.write(ctx, c, f, in, body(f, item), what)
		return done(page.ItemUsePath(item.String()), what), err
	}, d.itemUseAgain(path))
}

func (d *Desk) postState(c echo.Context) error {
	return d.aboutItem(c, page.PostState, "state", page.StateFields(), func(f *httpkit.Filled, item uuid.UUID) lab.Body {
		return &lab.ItemState{Item: item, State: f.Values["state"], Location: f.Values["location"], EffectiveAt: d.past(f, "effective_at"), Reason: f.Values["reason"]}
	})
}

func (d *Desk) postCorrection(c echo.Context) error {
	return d.aboutItem(c, page.PostCorrection, "correction", page.CorrectionFields(), func(f *httpkit.Filled, item uuid.UUID) lab.Body {
		return &lab.Correction{Item: item, Strokes: whole(f, "strokes"), EffectiveAt: d.past(f, "effective_at"), Reason: f.Values["reason"]}
	})
}

// whole is count for numbers that may be below zero.
func whole(f *httpkit.Filled, field string) int64 {
	text := f.Values[field]
	rest, negative := strings.CutPrefix(strings.ReplaceAll(text, "\u2212", "-"), "-")
	f.Values[field] = rest
	n := f.Count(field)
	f.Values[field] = text // as it was typed
	if negative {
		return -n
	}
	return n
}

func (d *Desk) postPlan(c echo.Context) error {
	return d.post(c, page.PlanFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		item, in, err := d.labOfItem(ctx, c, f)
		if err != nil {
			return "", err
		}
		if item == uuid.Nil {
			return "", notFound("item")
		}
		plan, none := planOf(f, "service_every_strokes", "service_every_days"), f.Values["no_service_plan"] != ""
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		at, err := d.place(ctx, &p, in)
		if err != nil {
			return "", err
		}
		row, err := d.Views.Item(ctx, at.Scope, item)
		if err != nil {
			return "", err
		}
		return done(page.ItemUsePath(item.String()), "plan"), d.Register.Plan(ctx, p.Principal, at, item, plan, none, stillItemPlan(c.FormValue(page.SeenField), ownPlanWords(&row.Item)))
	}, d.itemUseAgain(page.PostPlan))
}

// elsewhere says that an item sat at another place right before a mounting.
func (d *Desk) elsewhere(ctx context.Context, c echo.Context, b *lab.Mounting) bool {
	p, err := d.caller(c)
	if err != nil || b.Item == uuid.Nil || b.EffectiveAt == 0 {
		return false
	}
	u, err := d.Views.RamUsage(ctx, p.Scope, b.Item, (b.EffectiveAt - 1).Time())
	return err == nil && u.Rig != uuid.Nil && (u.Rig != b.Rig || len(u.Positions) > 1 || lab.Fold(u.Position) != lab.Fold(b.Position))
}

package desk

import (
	"context"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// foundEntry is an entry of an item's history that an address names.
type foundEntry struct {
	itemEvent
	own ownedItem
}

func (d *Desk) findEntry(c echo.Context, p *caller) (x foundEntry, err error) {
	ctx := c.Request().Context()
	item, err1 := uuid.Parse(c.Param("id"))
	id, err2 := uuid.Parse(c.Param("entry"))
	if err1 != nil || err2 != nil {
		return x, notFound("entry")
	}
	if x.own, err = d.ownedItem(ctx, p, item); err != nil {
		return x, err
	}
	rigs, err := d.rigNames(ctx, p.Scope)
	if err != nil {
		return x, err
	}
	all, err := d.history(ctx, p, item, rigs)
	i := slices.IndexFunc(all, func(e itemEvent) bool { return e.head.ID == id && entryKinds[e.kind] == c.Param("kind") })
	if err != nil || i < 0 {
		return x, orNot(err, "entry")
	}
	x.itemEvent = all[i]
	return x, nil
}

// entry shows one entry of an item's history, and lets those who keep its lab
// withdraw it.
func (d *Desk) entry(c echo.Context) error { return d.entryPage(c, nil, http.StatusOK) }

func (d *Desk) entryPage(c echo.Context, typed *httpkit.Filled, status int) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	x, err := d.findEntry(c, &p)
	if err != nil {
		return err
	}
	item := x.own.item.ID.String()
	s := page.Entry{Frame: d.frame(&p, x.own.item.Item.Title()+": "+x.What, page.PathEquipment), Item: x.own.item.Item.Title(), ItemHref: page.ItemUsePath(item), Event: x.ItemEvent, Recorded: x.head.RecordedAt.In(d.zone)}
	switch x.kind {
	case lab.KindCalibration:
		s.Follows = "Without it the certificate before holds again: flags and due dates follow by themselves. Results that were computed with its sensitivity stay until they are calculated again; enter the right certificate, and Entered late offers that."
	case lab.KindMounting:
		s.Follows = "Without it the item sat where it was before: counters, flags and due dates follow by themselves. Results that were computed with its certificate stay until they are calculated again."
	case lab.KindItemState:
		s.Follows = "Without it the state before holds again."
	default:
		s.Follows = "Counters, due dates and forecasts follow by themselves."
	}
	if p.MayKeep(x.own.in.ID) && x.head.Withdrawn == nil {
		f := httpkit.Blank(page.ReasonFields(), page.EntryPath(item, entryKinds[x.kind], x.head.ID.String()), "withdraw", "Withdraw the entry")
		if s.Withdraw = &f; typed != nil {
			typed.Into(s.Withdraw)
			s.Notices = append(s.Notices, typed.Other...)
		}
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) withdrawEntry(c echo.Context) error {
	return d.post(c, page.ReasonFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		x, err := d.findEntry(c, &p)
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, x.own.in.ID); err != nil || !f.OK() {
			return "", err
		}
		if x.head.Withdrawn != nil {
			return "", problem.New(problem.Conflict, "The entry was withdrawn already.", "Reload the page to see by whom and why.")
		}
		if err := d.Register.Withdraw(ctx, p.Principal, x.own.in.ID, x.head.Lab, x.head.ID, x.kind, f.Values["reason"]); err != nil {
			return "", err
		}
		return done(page.ItemUsePath(x.own.item.ID.String()), "withdrawn"), nil
	}, d.entryPage)
}

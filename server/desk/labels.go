package desk

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// mostLabels bounds one sheet.
const mostLabels = 300

// labels shows the labels of the chosen items, and what can be chosen.
func (d *Desk) labels(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	chosen := c.QueryParams()["item"]
	if len(chosen) > mostLabels {
		return problem.New(problem.TooLarge, "That are too many labels for one sheet.", "Choose at most 300 items.")
	}
	s := page.Labels{Frame: d.frame(&p, "Labels", page.PathEquipment)}
	base := strings.TrimSuffix(d.Tell.PublicURL, "/")
	if base == "" {
		base = c.Scheme() + "://" + c.Request().Host
		s.Plain = base
	}
	made := map[string]page.Label{}
	err = d.everyItem(ctx, &p, func(r *view.ItemRow, lab string) error {
		id, i := r.ID.String(), &r.Item
		on := slices.Contains(chosen, id)
		s.Choices = append(s.Choices, page.LabelChoice{ID: id, Text: i.Title() + ", " + i.Class + ", " + i.Serial, Lab: lab, Chosen: on})
		if !on {
			return nil
		}
		l := page.Label{Name: i.Title(), Kind: i.Class, Serial: i.Serial, Asset: i.AssetNumber, Lab: lab, Address: base + page.ItemUsePath(id)}
		var err error
		l.Path, l.Size, err = present.QR(l.Address)
		made[id] = l
		return err
	})
	if err != nil {
		return err
	}
	for _, id := range chosen {
		l, ok := made[id]
		if !ok {
			return notFound("item")
		}
		s.Labels = append(s.Labels, l)
	}
	return httpkit.Page(c, http.StatusOK, s)
}

// everyItem goes through the items that a person may see, by class and serial.
func (d *Desk) everyItem(ctx context.Context, p *caller, do func(*view.ItemRow, string) error) error {
	read := func(at view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, p.Scope, "", at) }
	return every(ctx, read, func(r *view.ItemRow) error {
		if r.Withdrawn != nil {
			return nil
		}
		name, err := p.names.Of(ctx, r.Lab)
		if err != nil {
			return err
		}
		return do(r, name)
	})
}

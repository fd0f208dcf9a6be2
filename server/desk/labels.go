package desk

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// mostLabels bounds a sheet, and with it the length of its address: 120 ids are
// about 5 kB, below the 8 kB that many proxies allow.
const mostLabels = 120

// labels shows labels of the chosen items, and lets choose others.
func (d *Desk) labels(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Labels{Frame: d.frame(&p, "Labels", page.PathEquipment), Lab: c.QueryParam("lab"), Address: strings.TrimSuffix(d.Tell.PublicURL, "/")}
	s.Sheet = true
	if s.Address == "" {
		s.Address = d.base(c)
		s.Notices = append(s.Notices, page.Notice{Level: page.Warn, Text: "This server was not told its public address. The codes have the one that you use now: " + s.Address + ".",
			Fix: "If others reach it by another address, have the server started with that one before you print."})
	}
	sc := p.Scope
	if labs := p.names.All(); len(labs) > 1 {
		s.Labs = choices(labs)
	}
	if s.Lab != "" {
		in, err := d.place(ctx, &p, s.Lab)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	chosen, err := askedItems(c.QueryParams()["item"])
	if err != nil {
		return err
	}
	all := c.QueryParam("all") != ""
	listed := map[uuid.UUID]bool{}
	err = every(ctx, func(q view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, sc, "", q) }, func(i *view.ItemRow) error {
		listed[i.ID] = true
		if all && !slices.Contains(chosen, i.ID) {
			chosen = append(chosen, i.ID)
		}
		name, err := p.names.Of(ctx, i.Lab)
		s.Choices = append(s.Choices, page.LabelChoice{ID: i.ID.String(), Item: i.Item.Title(), Kind: i.Item.Class, Lab: name})
		return err
	})
	if err != nil {
		return err
	}
	for i := range s.Choices {
		s.Choices[i].On = slices.ContainsFunc(chosen, func(id uuid.UUID) bool { return id.String() == s.Choices[i].ID })
	}
	for _, id := range chosen {
		if !listed[id] {
			s.Kept = append(s.Kept, id.String())
		}
	}
	if len(chosen) > mostLabels {
		s.Notices = append(s.Notices, page.Notice{Level: page.Bad, Text: fmt.Sprintf("%d items are chosen; a sheet holds at most %d labels.", len(chosen), mostLabels), Fix: "Choose one lab, or fewer items, and print several sheets."})
		return httpkit.Page(c, http.StatusUnprocessableEntity, s)
	}
	for _, id := range chosen {
		l, err := d.label(c, &p, id, s.Address)
		if err != nil {
			return err
		}
		s.Labels = append(s.Labels, l)
	}
	return d.show(c, s)
}

// askedItems reads ids of items, each once.
func askedItems(texts []string) ([]uuid.UUID, error) {
	var out []uuid.UUID
	for _, text := range texts {
		id, err := uuid.Parse(text)
		if err != nil {
			return nil, problem.New(problem.NotFound, fmt.Sprintf("“%.60s” is no id of an item.", text), "Choose the items again on the page of labels.")
		}
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out, nil
}

// label is the label of an item of the caller's scope.
func (d *Desk) label(c echo.Context, p *caller, id uuid.UUID, address string) (page.Label, error) {
	ctx := c.Request().Context()
	row, err := d.Views.Item(ctx, p.Scope, id)
	if err != nil {
		return page.Label{}, err
	}
	of, err := p.names.Lab(ctx, row.Lab)
	if err != nil || of == nil {
		return page.Label{}, cmp.Or(err, notFound("item"))
	}
	i := &row.Item
	l := page.Label{Class: i.Class, Name: i.Name, Serial: i.Serial, Asset: i.AssetNumber, Lab: of.Title(), URL: address + page.ItemUsePath(id.String())}
	l.Path, l.Size, err = present.QR(l.URL)
	return l, err
}

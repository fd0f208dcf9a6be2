package desk

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/server/roster"
	"thudbook/server/stocklist"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// stockList shows where a list is taken in.
func (d *Desk) stockList(c echo.Context) error {
	s, _, err := d.stockPage(c)
	if err != nil {
		return err
	}
	said(c, &s.Frame, map[string]string{"list": "The changes of the list were written."})
	return d.show(c, s)
}

func (d *Desk) stockPage(c echo.Context) (page.StockList, caller, error) {
	p, err := d.caller(c)
	if err != nil {
		return page.StockList{}, p, err
	}
	s := page.StockList{Frame: d.frame(&p, "Register as a list", page.PathEquipment), Columns: stocklist.Columns(), States: lab.States(), Classes: stocklist.Classes(), Lab: c.QueryParam("lab")}
	keeps := p.keeps()
	s.MayEdit, s.Labs = len(keeps) > 0, choices(keeps)
	if !s.MayEdit {
		s.Labs = choices(p.names.All()) // to export from
	}
	return s, p, nil
}

// checkList says what a list would change; it writes nothing.
func (d *Desk) checkList(c echo.Context) error {
	s, p, err := d.stockPage(c)
	if err != nil {
		return err
	}
	text, err := sentList(c)
	if err != nil {
		return err
	}
	s.Lab = c.FormValue("lab")
	in, err := d.keptPlace(c.Request().Context(), &p, s.Lab)
	if err != nil {
		return err
	}
	return d.shownList(c, &s, in, text, http.StatusOK)
}

func (d *Desk) keptPlace(ctx context.Context, p *caller, text string) (roster.Place, error) {
	in, err := d.place(ctx, p, text)
	if err == nil && !p.MayKeep(in.ID) {
		err = problem.New(problem.Forbidden, "Your role in this lab does not let you change it.", "Ask the lab's manager.")
	}
	return in, err
}

// sentList gives the file that was sent, or else the pasted text.
func sentList(c echo.Context) ([]byte, error) {
	if h, err := c.FormFile("file"); err == nil && h.Size > 0 {
		f, err := h.Open()
		if err != nil {
			return nil, err
		}
		defer f.Close()
		return io.ReadAll(f)
	}
	text := c.FormValue("list")
	if c.Request().Form == nil {
		return nil, problem.New(problem.Invalid, "The form cannot be read.", "Go back, reload the page and fill it in again.")
	}
	return []byte(text), nil
}

// shownList puts the plan of a list, or its faults, on the screen.
func (d *Desk) shownList(c echo.Context, s *page.StockList, in roster.Place, text []byte, status int) error {
	have, _, err := d.Register.Stock(c.Request().Context(), in.Scope, d.Now())
	if err != nil {
		return err
	}
	s.Text = strings.ToValidUTF8(string(text), "\ufffd")
	list, err := stocklist.Read(text)
	var plan *stocklist.Plan
	if err == nil {
		plan, err = list.Compare(have)
	}
	if err != nil {
		all := httpkit.Problems(err)
		if len(all) == 0 {
			return err
		}
		status = http.StatusUnprocessableEntity
		for _, p := range all {
			s.Faults = append(s.Faults, page.Notice{Level: page.Bad, Text: httpkit.Finish(p.What), Where: p.Where, Fix: httpkit.Finish(p.Fix)})
		}
	} else {
		s.Plan = planShown(plan, string(text))
	}
	return httpkit.Page(c, status, s)
}

func planShown(p *stocklist.Plan, text string) *page.StockPlan {
	out := &page.StockPlan{All: p.All, New: p.New, Edit: p.Edit, Text: text, Digest: p.Digest(), Key: httpkit.NewKey()}
	for i := range p.Lines {
		l := &p.Lines[i]
		if !l.Changed() && l.Note == "" {
			continue
		}
		row := page.StockLine{Line: l.Line, Item: l.Title, New: l.New, Note: l.Note}
		for _, c := range l.Changes {
			if l.New {
				c.From = "" // what an empty item would say is no value before
			}
			row.Changes = append(row.Changes, page.StockChange(c))
		}
		out.Lines = append(out.Lines, row)
	}
	return out
}

// listFields are what a checked list comes back with.
func listFields() []page.Field {
	return []page.Field{{Name: "lab", Required: true}, {Name: "digest", Required: true}, {Name: "list", Required: true}}
}

// takeList writes what a checked list changes.
func (d *Desk) takeList(c echo.Context) error {
	return d.post(c, listFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil || !f.OK() {
			return "", err
		}
		in, err := d.keptPlace(ctx, &p, f.Values["lab"])
		if err != nil {
			return "", err
		}
		list, err := stocklist.Read([]byte(c.Request().PostForm.Get("list"))) // as it was checked, not trimmed
		if err != nil {
			return "", err
		}
		_, err = d.Register.TakeList(ctx, p.Principal, in, list, f.Values["digest"], d.Now())
		return done(page.PathStockList, "list"), err
	}, func(c echo.Context, f *httpkit.Filled, status int) error {
		s, p, err := d.stockPage(c)
		if err != nil {
			return err
		}
		s.Notices, s.Lab = append(s.Notices, f.Other...), f.Values["lab"]
		in, err := d.keptPlace(c.Request().Context(), &p, s.Lab)
		if err != nil {
			return httpkit.Page(c, status, s)
		}
		return d.shownList(c, &s, in, []byte(c.Request().PostForm.Get("list")), status)
	})
}

// exportList gives a lab's register as a table.
func (d *Desk) exportList(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	in, err := d.place(ctx, &p, c.QueryParam("lab"))
	if err != nil {
		return err
	}
	have, _, err := d.Register.Stock(ctx, in.Scope, d.Now())
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := stocklist.Write(&b, have); err != nil {
		return err
	}
	return download(c, "equipment.csv", b.Bytes())
}

// download answers with a table as a file.
func download(c echo.Context, name string, b []byte) error {
	h := c.Response().Header()
	h.Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	h.Set(echo.HeaderCacheControl, "no-store")
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8", b)
}

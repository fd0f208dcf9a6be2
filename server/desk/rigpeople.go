package desk

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// rigPeople adds the screen of those who work at the rigs, one lab at a time.
func (d *Desk) rigPeople(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathPeople, func(c echo.Context) error { return d.peoplePage(c, "", nil, http.StatusOK) }, in)
	e.POST(page.PostPerson, d.addPerson, in)
	for path, do := range map[string]func(context.Context, *httpkit.Filled, scope.Scope, uuid.UUID, string) error{
		page.PostPIN: func(ctx context.Context, f *httpkit.Filled, sc scope.Scope, id uuid.UUID, author string) error {
			return d.People.SetPIN(ctx, sc, id, f.Values["pin"], author)
		},
		page.PostOffList: func(ctx context.Context, f *httpkit.Filled, sc scope.Scope, id uuid.UUID, author string) error {
			return d.People.SetOnList(ctx, sc, id, false, f.Values["reason"], author)
		},
		page.PostOnList: func(ctx context.Context, f *httpkit.Filled, sc scope.Scope, id uuid.UUID, author string) error {
			return d.People.SetOnList(ctx, sc, id, true, f.Values["reason"], author)
		},
		page.PostErase: func(ctx context.Context, f *httpkit.Filled, sc scope.Scope, id uuid.UUID, author string) error {
			return d.People.Erase(ctx, sc, id, f.Values["confirm"], f.Values["reason"], author)
		},
	} {
		fields := map[string][]page.Field{page.PostPIN: page.NewPINFields(), page.PostOffList: page.OffListFields(), page.PostOnList: page.OnListFields(), page.PostErase: page.EraseFields()}[path]
		e.POST(path, func(c echo.Context) error { return d.changePerson(c, path, fields, do) }, in)
	}
}

// peopleLab is the lab whose list is shown: the one that was asked for, else
// the first that the caller keeps, else the first that the caller sees.
func (d *Desk) peopleLab(ctx context.Context, c echo.Context, p *caller) (record.LabID, scope.Scope, error) {
	text := c.QueryParam("lab")
	if c.Request().Method == http.MethodPost {
		text = c.FormValue("lab")
	}
	if text == "" {
		labs := p.keeps()
		if len(labs) == 0 {
			labs = p.names.All()
		}
		if len(labs) == 0 {
			return record.LabID{}, scope.Scope{}, nil
		}
		text = labs[0].ID.String()
	}
	in, err := d.place(ctx, p, text)
	return in.ID, in.Scope, err
}

func (d *Desk) peoplePage(c echo.Context, posted string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.RigPeople{Frame: d.frame(&p, "People at the rigs", page.PathPeople)}
	said(c, &s.Frame, map[string]string{"added": "The person is on the list. Each rig of the lab hears of it at its next exchange.", "changed": "The list was changed. Each rig of the lab hears of it at its next exchange."})
	in, sc, err := d.peopleLab(ctx, c, &p)
	if err != nil {
		return err
	}
	if in == (record.LabID{}) {
		return httpkit.Page(c, status, s)
	}
	if labs := p.names.All(); len(labs) > 1 {
		s.Lab = page.Form{ID: "which", Fields: []page.Field{{Name: "lab", Label: "Lab", Kind: "select", Required: true}},
			Choices: map[string][]page.Choice{"lab": choices(labs)}, Values: map[string]string{"lab": in.String()}}
	}
	all, err := d.People.List(ctx, sc)
	if err != nil {
		return err
	}
	who, err := d.authors(ctx, sc)
	if err != nil {
		return err
	}
	s.List = present.PeopleOf(all, p.MayKeep(in), nil, who, s.Now)
	for _, f := range []*page.Form{&s.List.Add, &s.List.PIN, &s.List.Off, &s.List.On, &s.List.Erase} {
		if f.Action == "" {
			continue
		}
		f.Key, f.Hidden = httpkit.NewKey(), map[string]string{"lab": in.String()}
		if f.Action == posted {
			typed.Into(f)
		}
	}
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) peopleAgain(path string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error { return d.peoplePage(c, path, f, status) }
}

// kept is the lab of the form, which the caller must keep.
func (d *Desk) kept(ctx context.Context, c echo.Context) (*caller, record.LabID, scope.Scope, error) {
	p, err := d.caller(c)
	if err != nil {
		return nil, record.LabID{}, scope.Scope{}, err
	}
	in, sc, err := d.peopleLab(ctx, c, &p)
	if err == nil {
		err = register.MayKeep(p.Principal, in)
	}
	return &p, in, sc, err
}

func (d *Desk) addPerson(c echo.Context) error {
	return d.post(c, page.PersonFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, in, sc, err := d.kept(ctx, c)
		if err != nil || !f.OK() {
			return "", err
		}
		_, err = d.People.Add(ctx, in, sc, f.Values["name"], f.Values["pin"], p.Author())
		return done(page.PathPeople, "added") + "&lab=" + in.String(), err
	}, d.peopleAgain(page.PostPerson))
}

func (d *Desk) changePerson(c echo.Context, path string, fields []page.Field, do func(context.Context, *httpkit.Filled, scope.Scope, uuid.UUID, string) error) error {
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, in, sc, err := d.kept(ctx, c)
		if err != nil || !f.OK() {
			return "", err
		}
		id, err := uuid.Parse(f.Values["person"])
		if err == nil {
			_, err = d.People.Find(ctx, sc, id)
		}
		if err != nil && (problem.Of(err) == problem.NotFound || id == uuid.Nil) {
			f.Fault("person", "There is no such person in this lab. Choose one from the list.")
			return "", nil
		}
		if err == nil {
			err = do(ctx, f, sc, id, p.Author())
		}
		return done(page.PathPeople, "changed") + "&lab=" + in.String(), err
	}, d.peopleAgain(path))
}

package desk

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/agent/shift"
	"thudbook/sync/lab"
	"thudbook/sync/people"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) personRoutes(e *echo.Echo) {
	e.Use(d.askWho)
	e.GET(page.PathPeople, d.operators)
	e.GET(page.PathUnsent, d.unsent)
	e.GET(page.PathPeople+"/:id", d.pin)
	e.POST(page.PathPeople+"/:id", d.signIn)
	e.POST(page.PostPersonOut, d.signOut)
	e.POST(page.PostPerson, d.addPerson)
	e.POST(page.PostPIN, d.changePerson)
	e.POST(page.PostOffList, d.changePerson)
	e.POST(page.PostOnList, d.changePerson)
	e.POST(page.PostErase, d.changePerson)
}

// seat is where a request comes from: the rig's own screen, or a paired device.
func seat(c echo.Context) string {
	if of, ok := c.Get("seat").(string); ok {
		return of
	}
	return shift.Rig
}

// shiftOf is who works where the request comes from; it is asked once a request.
func (d *Desk) shiftOf(c echo.Context) shift.State {
	if st, ok := c.Get("shift").(shift.State); ok {
		return st
	}
	st, err := d.Shift.Who(c.Request().Context(), seat(c))
	if err != nil {
		d.Log.Error("who is at the rig", "error", err)
	}
	c.Set("shift", st)
	return st
}

// author is who acts on this screen, for the records that it writes: the id of
// a person, or lab.AuthorRig while nobody is signed in.
func (d *Desk) author(c echo.Context) string {
	if st := d.shiftOf(c); st.Person != nil {
		return st.Person.ID.String()
	}
	return lab.AuthorRig
}

// personName names an author of a record by id; "" when it is not known here.
func (d *Desk) personName(author string) string {
	id, err := uuid.Parse(author)
	if err != nil {
		return ""
	}
	p, err := d.Shift.Book().Find(context.Background(), d.scope(), id)
	if err != nil {
		return ""
	}
	if p.Erased != nil {
		return people.ErasedName
	}
	return p.Name
}

// askWho refuses what a screen would record while people are on the list and
// none is signed in. Programs that post
// shots are never refused, nor is what is kept of a form that is being filled.
func (d *Desk) askWho(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if r.Method == http.MethodGet || r.Method == http.MethodHead || strings.HasPrefix(r.URL.Path, page.PathPeople) || strings.HasPrefix(r.URL.Path, page.PathPair+"/") || strings.HasPrefix(r.URL.Path, "/api/") || strings.HasSuffix(r.URL.Path, "/draft") {
			return next(c)
		}
		st := d.shiftOf(c)
		if st.Person != nil || !st.Anybody {
			d.unsents.sent(seat(c), r.URL.Path)
		}
		if st.Person == nil && st.Anybody {
			if httpkit.WantsJSON(r) {
				return problem.New(problem.Unauthenticated, "Nothing was saved: nobody has signed in here.", "Pick your name under People and enter your PIN.")
			}
			back := "/"
			if u, err := url.Parse(r.Referer()); err == nil {
				back = ownPath(u.RequestURI())
			}
			fix := "Pick your name and enter your PIN, then send it again. The browser's Back button brings back what you typed."
			if d.unsents.keep(seat(c), back, r) {
				back, fix = page.PathUnsent, "Pick your name and enter your PIN. What you typed is kept, and you can send it then."
			}
			p, err := d.operatorsPage(c, back)
			if err != nil {
				return err
			}
			p.Notices = append([]page.Notice{{Level: page.Bad, Text: "Nothing was saved: nobody has signed in here.", Fix: fix}}, p.Notices...)
			return httpkit.Page(c, http.StatusUnauthorized, p)
		}
		if st.Person != nil {
			if err := d.Shift.Touch(r.Context(), seat(c)); err != nil {
				d.Log.Error("note who is at the rig", "error", err)
			}
		}
		return next(c)
	}
}

// showPerson puts who works here on a screen's frame.
func (d *Desk) showPerson(c echo.Context, f *page.Frame) {
	st := d.shiftOf(c)
	if st.Person == nil && st.Ended != "" {
		f.Notices = append(f.Notices, page.Notice{Level: page.Warn, Text: st.Ended, Fix: "Pick your name under People."})
	}
	if !st.Anybody {
		return
	}
	r := c.Request()
	back := r.URL.RequestURI()
	if r.Method != http.MethodGet || strings.HasPrefix(r.URL.Path, page.PathPeople) {
		back = c.QueryParam("next")
	}
	f.Person = &page.Operator{Href: withNext(page.PathPeople, ownPath(back))}
	if st.Person != nil {
		f.Person.Name = st.Person.Name
	}
}

// ownPath keeps a way back within these screens.
func ownPath(path string) string {
	if !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n") || len(path) > 2000 {
		return page.PathHome
	}
	return path
}

func withNext(path, next string) string {
	if next == page.PathHome {
		return path
	}
	return path + "?" + url.Values{"next": {next}}.Encode()
}

func (d *Desk) operators(c echo.Context) error {
	p, err := d.operatorsPage(c, ownPath(c.QueryParam("next")))
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, p)
}

func (d *Desk) operatorsPage(c echo.Context, next string) (p page.Operators, err error) {
	ctx := c.Request().Context()
	all, err := d.Shift.Book().List(ctx, d.scope())
	if err != nil {
		return p, err
	}
	st := d.shiftOf(c)
	p = page.Operators{Frame: d.frame(c, "Who is at the rig", page.PathPeople), Next: next, Keeps: d.keepsList(c)}
	for i := range all {
		if !all[i].OnList() {
			continue
		}
		row := page.OperatorRow{Name: all[i].Name, Href: withNext(page.PersonPath(all[i].ID.String()), next)}
		if st.Person != nil && st.Person.ID == all[i].ID {
			row.Current, p.Current = true, row.Name
		}
		p.People = append(p.People, row)
	}
	if p.Keeps {
		names, err := d.Shift.Book().Names(ctx, d.scope())
		if err != nil {
			return p, err
		}
		p.List = present.PeopleOf(all, st.Person != nil || !st.Anybody, nil, names, time.Now())
	}
	return p, nil
}

// keepsList says that this rig is connected to no server, so that its list of
// people is changed here.
func (d *Desk) keepsList(c echo.Context) bool {
	return d.Link(c.Request().Context()).EnrolledAt.IsZero()
}

func (d *Desk) pin(c echo.Context) error {
	p, err := d.pinPage(c, ownPath(c.QueryParam("next")))
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, *p)
}

func (d *Desk) pinPage(c echo.Context, next string) (*page.PIN, error) {
	id, err := d.id(c)
	if err != nil {
		return nil, err
	}
	who, err := d.Shift.Book().Find(c.Request().Context(), d.scope(), id)
	if err != nil {
		return nil, err
	}
	if !who.OnList() {
		return nil, problem.New(problem.NotFound, "This name is not on the list any more.", "Pick another one under People.")
	}
	return &page.PIN{Frame: d.frame(c, who.Name, page.PathPeople), Name: who.Name, Back: withNext(page.PathPeople, next), Wait: d.Shift.Waits(id),
		Form: page.Form{Action: page.PersonPath(id.String()), Fields: page.PINFields(), Hidden: map[string]string{"next": next}}}, nil
}

func (d *Desk) signIn(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	next := ownPath(c.FormValue("next"))
	err = d.Shift.SignIn(c.Request().Context(), seat(c), id, c.FormValue("pin"))
	if err == nil {
		return httpkit.SeeOther(c, next)
	}
	p, ok := problem.As(err)
	if !ok || p.Code == problem.NotFound {
		return err
	}
	s, err := d.pinPage(c, next)
	if err != nil {
		return err
	}
	s.Form.Errors = map[string]string{"pin": p.What + " " + p.Fix}
	if p.Code == problem.Unavailable && s.Wait > 0 {
		s.Form.Errors["pin"] = p.What // the page says how long to wait
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, *s)
}

func (d *Desk) signOut(c echo.Context) error {
	if err := d.Shift.SignOut(c.Request().Context(), seat(c)); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathPeople)
}

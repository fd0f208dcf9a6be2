package desk

import (
	"net/http"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// mayKeep refuses changes of a list that a server keeps, and those of people
// who are not signed in where somebody could be.
func (d *Desk) mayKeep(c echo.Context) error {
	if !d.keepsList(c) {
		return problem.New(problem.Forbidden, "The list of people is kept on the server.", "Change it there, under People at the rigs.")
	}
	if st := d.shiftOf(c); st.Anybody && st.Person == nil {
		return problem.New(problem.Unauthenticated, "Only who is on the list can change it.", "Pick your name and enter your PIN first.")
	}
	return nil
}

// addPerson puts a person onto the list. The first one is signed in at once.
func (d *Desk) addPerson(c echo.Context) error {
	if err := d.mayKeep(c); err != nil {
		return err
	}
	ctx, name, pin := c.Request().Context(), c.FormValue("name"), c.FormValue("pin")
	first := !d.shiftOf(c).Anybody
	id, err := d.Shift.Book().Add(ctx, d.Lab(), d.scope(), name, pin, d.author(c))
	if err == nil && first {
		err = d.Shift.SignIn(ctx, seat(c), id, pin)
	}
	return d.changedList(c, err)
}

// changePerson sets a PIN, or takes a person off the list or back onto it.
func (d *Desk) changePerson(c echo.Context) error {
	if err := d.mayKeep(c); err != nil {
		return err
	}
	ctx, book := c.Request().Context(), d.Shift.Book()
	id, err := uuid.Parse(c.FormValue("person"))
	switch {
	case err != nil:
		err = problem.New(problem.Invalid, "Nobody was chosen.", "Choose a person from the list.")
	case c.Path() == page.PostPIN:
		err = book.SetPIN(ctx, d.scope(), id, c.FormValue("pin"), d.author(c))
	case c.Path() == page.PostErase:
		err = book.Erase(ctx, d.scope(), id, c.FormValue("confirm"), strings.TrimSpace(c.FormValue("reason")), d.author(c))
	default:
		err = book.SetOnList(ctx, d.scope(), id, c.Path() == page.PostOnList, c.FormValue("reason"), d.author(c))
	}
	return d.changedList(c, err)
}

// changedList shows the list again, with the form that was not accepted.
func (d *Desk) changedList(c echo.Context, err error) error {
	if err == nil {
		d.Wake()
		return httpkit.SeeOther(c, page.PathPeople)
	}
	faults := httpkit.Problems(err)
	if len(faults) == 0 {
		return err
	}
	p, err := d.operatorsPage(c, page.PathHome)
	if err != nil {
		return err
	}
	for _, f := range []*page.Form{&p.List.Add, &p.List.PIN, &p.List.Off, &p.List.On, &p.List.Erase} {
		if f.Action != c.Path() {
			continue
		}
		posted, err := c.FormParams()
		if err != nil {
			return err
		}
		f.Values, f.Errors = page.Typed(posted, f.Fields), map[string]string{}
		for _, x := range faults {
			_, field, ok := strings.Cut(x.Where, ", ")
			if !ok {
				field = x.Where
			}
			if field == "" {
				field = f.Fields[0].Name
			}
			f.Errors[field] = x.What + " " + x.Fix
		}
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, p)
}

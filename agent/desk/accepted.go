package desk

import (
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// acceptedField says in a form that makes a shot void how often its result had been
// accepted when the page was made.
const acceptedField = "accepted"

func acceptedSeen(all []view.Acceptance) string { return strconv.Itoa(len(all)) }

// newest gives the last acceptance, nil where there is none.
func newest(all []view.Acceptance) *view.Acceptance {
	if len(all) == 0 {
		return nil
	}
	return &all[len(all)-1]
}

// stillUndecided refuses to make void from an old page a shot whose result was
// accepted meanwhile.
func (d *Desk) stillUndecided(c echo.Context, shot uuid.UUID) error {
	seen := c.FormValue(acceptedField)
	if seen == "" {
		return nil
	}
	all, err := d.read.Acceptances(c.Request().Context(), d.scope(), shot)
	if err != nil || seen == acceptedSeen(all) {
		return err
	}
	return problem.New(problem.Conflict, "The result of this shot was accepted while the page was open; nothing was saved.",
		"Look at what holds now, then make it void if that is still meant.")
}

// accept lets a result stand. The same answer twice changes nothing.
func (d *Desk) accept(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := d.formID(c, "shot")
	if err != nil {
		return err
	}
	row, err := d.read.Shot(ctx, d.scope(), id)
	if err != nil {
		return err
	}
	if a, err := d.read.Accepted(ctx, d.scope(), id); err != nil {
		return err
	} else if !a.Of(&row) {
		if err := d.write(c, id, &lab.Accepted{Shot: id}); err != nil {
			return err
		}
	}
	if c.FormValue(page.BackField) == "shot" {
		return httpkit.SeeOther(c, page.ShotPath(id.String()))
	}
	return httpkit.SeeOther(c, page.PathNext+"?accepted="+id.String())
}

// acceptedNotice confirms on the next screen what was accepted on the one before.
func (d *Desk) acceptedNotice(c echo.Context) ([]page.Notice, error) {
	id, err := uuid.Parse(c.QueryParam("accepted"))
	if err != nil {
		return nil, nil
	}
	ctx := c.Request().Context()
	a, err := d.read.Accepted(ctx, d.scope(), id)
	if a == nil || err != nil {
		return nil, err
	}
	row, err := d.read.Shot(ctx, d.scope(), id)
	if err != nil {
		return nil, err
	}
	return []page.Notice{{Level: page.OK, Text: present.HitOf(&row) + ": " + present.AcceptedWords(a, d.personName, time.Local) + ".", Link: "Look at the shot", Href: page.ShotPath(id.String())}}, nil
}

package desk

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// alarms lists what the keepers of labs have to hear of.
func (d *Desk) alarms(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	list, err := d.Agents.Alarms(ctx, p.KeepScope())
	if err != nil {
		return err
	}
	s := page.Alarms{Frame: d.frame(&p, "Alarms", page.PathAlarms)}
	said(c, &s.Frame, map[string]string{"seen": "It is noted that you have seen it."})
	for i := range list {
		a := &list[i]
		row := page.AlarmRow{ID: a.ID.String(), At: a.At().In(d.zone), SeenAt: a.SeenAt().In(d.zone)}
		row.Text, row.Details = present.SplitNotice(a.Text)
		if p.Scope.Allows(a.Lab) && a.Lab != uuid.Nil {
			if row.Lab, err = p.names.Of(ctx, a.Lab); err != nil {
				return err
			}
		}
		if a.SeenMS != 0 {
			if row.SeenBy, err = d.nameOf(ctx, a.SeenBy); err != nil {
				return err
			}
		} else {
			s.Open++
		}
		s.Rows = append(s.Rows, row)
	}
	return httpkit.Page(c, http.StatusOK, s)
}

// nameOf gives the name of the account that an author's id stands for.
func (d *Desk) nameOf(ctx context.Context, author string) (string, error) {
	id, err := uuid.Parse(author)
	if err != nil {
		return author, nil
	}
	who, ok, err := d.Accounts.Principal(ctx, id)
	if err != nil || !ok {
		return "an account that is closed", err
	}
	if who.Name != "" {
		return who.Name, nil
	}
	return who.Login, nil
}

func (d *Desk) seeAlarm(c echo.Context) error {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return problem.New(problem.NotFound, "There is no such alarm.", "Look at the list of alarms.")
	}
	p := door.Of(c)
	if err := d.Agents.SeeAlarm(c.Request().Context(), p.KeepScope(), id, p.Author()); err != nil {
		return err
	}
	return httpkit.SeeOther(c, done(page.PathAlarms, "seen"))
}

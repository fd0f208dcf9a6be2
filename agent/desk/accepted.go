package desk

import (
	"strconv"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/sync/view"
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

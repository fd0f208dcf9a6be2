package desk

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/alarm"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// openAlarms gives the alarms that nobody has seen, the newest first.
func (d *Desk) openAlarms(ctx context.Context) []alarm.Alarm {
	all, err := d.Alarms.List(ctx)
	if err != nil {
		d.Log.Error("alarms for the navigation", "error", err)
	}
	for i := range all {
		if all[i].SeenMS != 0 {
			return all[:i]
		}
	}
	return all
}

// moreAlarms says where an alarm is answered.
func moreAlarms(n int) string {
	switch n {
	case 0:
		return "Say under Alarms that you have seen it."
	case 1:
		return "Under Alarms there is one more that nobody has seen."
	}
	return fmt.Sprintf("Under Alarms there are %d more that nobody has seen.", n)
}

func (d *Desk) alarms(c echo.Context) error {
	all, err := d.Alarms.List(c.Request().Context())
	if err != nil {
		return err
	}
	s := page.Alarms{Frame: d.frame(c, "Alarms", page.PathAlarms)}
	for i := range all {
		a := &all[i]
		row := page.AlarmRow{ID: a.ID.String(), At: a.At().Local()}
		row.Text, row.Details = present.SplitNotice(a.Text)
		if a.SeenMS != 0 {
			row.SeenAt, row.SeenBy = a.SeenAt().Local(), d.personName(a.SeenBy)
			if row.SeenBy == "" {
				row.SeenBy = "somebody at the rig"
			}
		} else {
			s.Open++
		}
		s.Rows = append(s.Rows, row)
	}
	return httpkit.Page(c, http.StatusOK, s)
}

func (d *Desk) see(c echo.Context) error {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return problem.New(problem.NotFound, "There is no such alarm.", "Look at the list of alarms.")
	}
	by := d.author(c)
	if by == "" {
		by = "node" // nobody signs in here
	}
	return d.Alarms.See(c.Request().Context(), id, by, func(*alarm.Alarm) bool { return true })
}

func (d *Desk) seeAlarm(c echo.Context) error {
	if err := d.see(c); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathAlarms)
}

func (d *Desk) postSeen(c echo.Context) error {
	if err := d.see(c); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// alarmAnswer is one alarm in the API.
type alarmAnswer struct {
	ID     uuid.UUID  `json:"id"`
	Alarm  string     `json:"alarm"`
	Text   string     `json:"text"`
	At     time.Time  `json:"at"`
	SeenBy string     `json:"seen_by,omitempty"`
	SeenAt *time.Time `json:"seen_at,omitempty"`
}

func (d *Desk) listAlarms(c echo.Context) error {
	all, err := d.Alarms.List(c.Request().Context())
	if err != nil {
		return err
	}
	out := make([]alarmAnswer, 0, len(all))
	for i := range all {
		a := &all[i]
		out = append(out, alarmAnswer{ID: a.ID, Alarm: a.Alarm, Text: a.Text, At: a.At(), SeenBy: a.SeenBy, SeenAt: moment(a.SeenAt())})
	}
	return c.JSON(http.StatusOK, out)
}

// newKey has the agent change its key, from the screen.
func (d *Desk) newKey(c echo.Context) error {
	if _, err := d.NewKey(); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathConnect)
}

func (d *Desk) postKey(c echo.Context) error {
	said, err := d.NewKey()
	if err != nil {
		return err
	}
	return c.JSON(http.StatusAccepted, map[string]string{"next": said})
}

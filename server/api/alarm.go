package api

import (
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

type alarmAnswer struct {
	ID     uuid.UUID     `json:"id"`
	Alarm  string        `json:"alarm"`
	Text   string        `json:"text"`
	Node   record.NodeID `json:"node"`
	Lab    record.LabID  `json:"lab"`
	At     time.Time     `json:"at"`
	SeenBy string        `json:"seen_by,omitempty"`
	SeenAt *time.Time    `json:"seen_at,omitempty"`
}

// alarms gives those of the labs that the caller keeps; with seen=no those that
// nobody has seen.
func (a *API) alarms(c echo.Context) error {
	seen := c.QueryParam("seen")
	if seen != "" && seen != "no" && seen != "yes" {
		return &problem.Error{Code: problem.Invalid, Where: "seen", What: "An alarm was seen or was not.", Fix: "Give yes or no, or leave it out for all."}
	}
	list, err := a.Agents.Alarms(c.Request().Context(), door.Of(c).KeepScope())
	if err != nil {
		return err
	}
	out := make([]alarmAnswer, 0, len(list))
	for i := range list {
		x := &list[i]
		if seen != "" && (x.SeenMS != 0) != (seen == "yes") {
			continue
		}
		out = append(out, alarmAnswer{ID: x.ID, Alarm: x.Alarm, Text: x.Text, Node: x.Node, Lab: x.Lab, At: x.At(), SeenBy: x.SeenBy, SeenAt: moment(x.SeenAt())})
	}
	return c.JSON(http.StatusOK, out)
}

func (a *API) seeAlarm(c echo.Context) error {
	id, err := parseID(c, "id", "alarm")
	if err != nil {
		return err
	}
	p := door.Of(c)
	if err := a.Agents.SeeAlarm(c.Request().Context(), p.KeepScope(), id, p.Author()); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

package api

import (
	"fmt"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

type digestSection struct {
	Head  string   `json:"head"`
	Lines []string `json:"lines"`
}

type digestAnswer struct {
	Lab      record.LabID    `json:"lab"`
	Day      string          `json:"day"`
	From     time.Time       `json:"from"`
	To       time.Time       `json:"to"`
	Sections []digestSection `json:"sections"` // none: nothing to tell
	Page     string          `json:"page"`     // the same as a screen
}

// digest sums up a day of a lab, from midnight to midnight in the zone of the
// query, or else in that of the server.
func (a *API) digest(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	zone := a.Now().Location()
	if text := c.QueryParam("zone"); text != "" {
		if zone, err = time.LoadLocation(text); err != nil {
			return &problem.Error{Code: problem.Invalid, Where: "zone", What: fmt.Sprintf("There is no time zone %q.", text), Fix: "Give its name, as Europe/Berlin, or leave it out for the server's.", Err: err}
		}
	}
	now := a.Now().In(zone)
	day := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, zone)
	if text := c.QueryParam("day"); text != "" {
		if day, err = time.ParseInLocation(time.DateOnly, text, zone); err != nil || day.Year() < 1970 || day.After(now) {
			return &problem.Error{Code: problem.Invalid, Where: "day", What: fmt.Sprintf("%q is not a day that can be summed up.", text), Fix: "Give a date up to today, as " + now.Format(time.DateOnly) + ".", Err: err}
		}
	}
	d, err := a.Digests.Digest(c.Request().Context(), in.ID, day)
	if err != nil {
		return err
	}
	out := digestAnswer{Lab: in.ID, Day: day.Format(time.DateOnly), From: day, To: day.AddDate(0, 0, 1), Sections: []digestSection{}, Page: d.Path}
	for _, s := range d.Sections {
		out.Sections = append(out.Sections, digestSection{s.Head, s.Lines})
	}
	return c.JSON(http.StatusOK, out)
}

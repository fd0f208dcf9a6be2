package api

import (
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/record"
)

type serverAnswer struct {
	ID           uuid.UUID    `json:"id"`
	URL          string       `json:"url"`
	Lab          record.LabID `json:"lab"`
	Added        time.Time    `json:"added"`
	AddedBy      string       `json:"added_by"`
	Stopped      *time.Time   `json:"stopped,omitempty"`
	Connected    bool         `json:"connected"`
	LastExchange *time.Time   `json:"last_exchange,omitempty"`
	Records      int64        `json:"pending_records"`     // written here, not acknowledged there
	Bytes        int64        `json:"pending_bytes"`       // of these records, and of their attachments
	Attachments  int64        `json:"pending_attachments"` //
	Stuck        string       `json:"stuck,omitempty"`
	Cause        string       `json:"cause,omitempty"`
	StuckSince   *time.Time   `json:"stuck_since,omitempty"`
	ClockOffsetS *float64     `json:"clock_offset_s,omitempty"` // this server's clock minus that one's
}

// servers gives those that labs of the caller are fetched from.
func (a *API) servers(c echo.Context) error {
	list, err := a.Pool.List(c.Request().Context(), door.Of(c).Scope)
	if err != nil {
		return err
	}
	out := make([]serverAnswer, 0, len(list))
	for i := range list {
		s := &list[i]
		x := serverAnswer{ID: s.ID, URL: s.URL, Lab: s.Lab, Added: s.Added(), AddedBy: s.AddedBy, Stopped: moment(s.Stopped()), Connected: s.State.Connected,
			LastExchange: moment(s.State.LastExchange), Records: s.State.PendingRecords, Bytes: s.State.PendingBytes, Attachments: s.State.PendingAttachments,
			Stuck: s.State.Stuck, Cause: string(s.State.Cause), StuckSince: moment(s.State.StuckSince)}
		if s.State.ClockKnown {
			off := s.State.ClockOffset.Seconds()
			x.ClockOffsetS = &off
		}
		out = append(out, x)
	}
	return c.JSON(http.StatusOK, out)
}

package desk

import (
	"context"
	"fmt"
	"net/http"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/pool"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// poolRoutes adds the administrator's screen of other servers.
func (d *Desk) poolRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathPool, func(c echo.Context) error { return d.poolPage(c, nil, http.StatusOK) }, in, door.Administrators)
	e.POST(page.PostPool, d.postPool, in, door.Administrators)
	e.POST(page.PostPoolStop, d.postPoolStop, in, door.Administrators)
	e.POST(page.PostPoolNow, d.postPoolNow, in, door.Administrators)
	e.POST(page.PostPoolKey, d.postPoolKey, in, door.Administrators)
}

func (d *Desk) poolPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	list, err := d.Pool.List(ctx, p.Scope)
	if err != nil {
		return err
	}
	s := page.Pool{Frame: d.frame(&p, "Other servers", page.PathPool)}
	said(c, &s.Frame, map[string]string{"added": "The lab is fetched from now on. It appears in the lists as its records come in.", "stopped": "The lab is not fetched any more. What came stays.", "now": "The other servers are asked now.",
		"key": "A new key was made. Each server takes it with the next exchange."})
	for i := range list {
		name, err := p.names.Of(ctx, list[i].Lab)
		if err != nil {
			return err
		}
		s.Rows = append(s.Rows, d.poolRow(name, &list[i]))
		if list[i].StoppedMS == 0 {
			s.Key = httpkit.NewKey()
		}
	}
	if typed == nil {
		s.Refresh = refreshSeconds
	}
	s.Form = httpkit.Blank(page.PoolFields(), page.PostPool, "pool", "Fetch this lab")
	s.Form.Key = d.keys.get(p.ID, page.PostPool)
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
		typed.Into(&s.Form)
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) poolRow(name string, s *pool.Status) page.PoolRow {
	st := &s.State
	r := page.PoolRow{ID: s.ID.String(), Lab: name, Server: s.URL, Stuck: st.Stuck, Clock: st.ClockWarning, Key: httpkit.NewKey()}
	if s.StoppedMS != 0 {
		r.Stopped, r.State = s.Stopped().In(d.zone), page.Status{Level: page.Plain, Word: "not fetched any more"}
		return r
	}
	r.Fingerprint, r.OwnKey, r.KeyChanging = present.Fingerprint(s.Key), present.Fingerprint(s.OwnKey), s.KeyChanging
	if !st.LastExchange.IsZero() {
		r.LastExchange = st.LastExchange.In(d.zone)
	}
	if st.PendingRecords > 0 || st.PendingAttachments > 0 {
		r.ToSend = fmt.Sprintf("%s and %s (%s)", counted(st.PendingRecords, "record"), counted(st.PendingAttachments, "file"), page.ShowBytes(st.PendingBytes))
	}
	if p := &st.Progress; st.Running && (p.RecordsReceived > 0 || p.BlobsReceived > 0) {
		r.Moving = fmt.Sprintf("fetched %s and %s", counted(p.RecordsReceived, "record"), counted(p.BlobsReceived, "file"))
	}
	switch {
	case st.Stuck != "" && st.Connected:
		r.State = page.Status{Level: page.Bad, Word: "stuck"}
	case st.Stuck != "":
		r.State = page.Status{Level: page.Warn, Word: "not reachable"}
	case st.LastExchange.IsZero():
		r.State = page.Status{Level: page.Plain, Word: "first exchange under way"}
	case r.ToSend != "" || r.Moving != "":
		r.State = page.Status{Level: page.Plain, Word: "exchanging"}
	default:
		r.State = page.Status{Level: page.OK, Word: "up to date"}
	}
	return r
}

// counted words a number of things: "1 record", "1 204 files".
func counted(n int64, what string) string {
	if n != 1 {
		what += "s"
	}
	return page.ShowCount(n) + " " + what
}

func (d *Desk) postPool(c echo.Context) error {
	return d.post(c, page.PoolFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		_, err := d.Pool.Add(ctx, strings.TrimSpace(f.Values["server"]), f.Values["code"], door.Of(c).Author())
		return done(page.PathPool, "added"), err
	}, d.poolPage)
}

func (d *Desk) postPoolStop(c echo.Context) error {
	return d.post(c, nil, func(ctx context.Context, _ *httpkit.Filled) (string, error) {
		id, err := uuid.Parse(c.FormValue("id"))
		if err != nil {
			return "", problem.New(problem.NotFound, "No lab is fetched under this id.", "Look at the list of other servers.")
		}
		return done(page.PathPool, "stopped"), d.Pool.Stop(ctx, id, door.Of(c).Author())
	}, d.poolPage)
}

func (d *Desk) postPoolNow(c echo.Context) error {
	return d.post(c, nil, func(context.Context, *httpkit.Filled) (string, error) {
		d.Pool.Wake()
		return done(page.PathPool, "now"), nil
	}, d.poolPage)
}

func (d *Desk) postPoolKey(c echo.Context) error {
	return d.post(c, nil, func(context.Context, *httpkit.Filled) (string, error) {
		return done(page.PathPool, "key"), d.Pool.ChangeKeys()
	}, d.poolPage)
}

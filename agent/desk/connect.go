package desk

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

const enrolTimeout = 30 * time.Second

func (d *Desk) connect(c echo.Context) error {
	return httpkit.Page(c, http.StatusOK, d.connectPage(c, nil, nil))
}

func (d *Desk) connectPage(c echo.Context, typed, faults map[string]string) page.Connect {
	l := d.Link(c.Request().Context())
	p := page.Connect{Frame: d.frame(c, "Server", page.PathConnect), State: l.Sync.State, Server: l.Sync.Server, ServerFingerprint: l.ServerFingerprint,
		OwnFingerprint: l.OwnFingerprint, KeyChanging: l.KeyChanging, Lab: l.Lab, LabID: l.LabID, EnrolledAt: l.EnrolledAt, Sync: l.Sync,
		Form: page.Form{Action: page.PostConnect, Fields: page.ConnectFields(), Submit: "Connect", Values: typed, Errors: faults}}
	if p.Server != "" {
		p.Try = &page.Form{Action: page.PostTryNow, Submit: "Try now"}
	}
	if typed == nil {
		p.Refresh = refreshSeconds * 5
	}
	return p
}

// faultyField is the field that a refusal is about: the server answered, and does
// not take the code, or it cannot be talked to.
func faultyField(p *problem.Error) string {
	if p.Where == exchange.AtCode || p.Code == problem.Unauthenticated || p.Code == problem.Conflict {
		return "code"
	}
	return "server"
}

// tryNow asks the server at once, whatever the next try was planned for.
func (d *Desk) tryNow(c echo.Context) error {
	d.Wake()
	return httpkit.SeeOther(c, page.PathConnect)
}

// enrol connects the agent with a server by a one-time code.
func (d *Desk) enrol(c echo.Context) error {
	form, err := c.FormParams()
	if err != nil {
		return problem.New(problem.Invalid, "The form could not be read.", "Send it again from the page.")
	}
	typed := page.Typed(form, page.ConnectFields())
	faults := map[string]string{}
	if u, err := url.Parse(typed["server"]); err != nil || u.Host == "" || (u.Scheme != "https" && u.Scheme != "http") {
		faults["server"] = "This is no address; write it as https://thudbook.example:8443"
	}
	misread := false
	if typed["code"] == "" {
		faults["code"] = "The code is missing; a manager makes one on the server under Agents"
	} else if _, err := exchange.ParseCode(typed["code"]); err != nil {
		misread, faults["code"] = true, sentence(err)
	}
	if len(faults) == 0 {
		ctx, cancel := context.WithTimeout(c.Request().Context(), enrolTimeout)
		defer cancel()
		if err = d.Enrol(ctx, typed["server"], typed["code"]); err == nil {
			return httpkit.SeeOther(c, page.PathConnect)
		}
		d.Log.Warn("enrolment failed", "server", typed["server"], "error", err)
		p, ok := problem.As(err)
		if !ok {
			return err
		}
		faults[faultyField(p)] = p.What + " " + p.Fix
	}
	if !misread { // one with a slip is shown, to mend it; one that may be right is not shown again
		typed["code"] = ""
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, d.connectPage(c, typed, faults))
}

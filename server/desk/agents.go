package desk

import (
	"context"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/enrol"
	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

func (d *Desk) agents(c echo.Context) error {
	shown := madeCode{}
	missed := false
	if ticket := c.QueryParam("code"); ticket != "" {
		var ok bool
		if shown, ok = d.codes.take(ticket, door.Of(c).ID); !ok {
			missed = true
		}
	}
	return d.agentsPage(c, agentsShown{code: shown, missed: missed}, http.StatusOK)
}

// agentsShown is what the screen of agents has beside the list.
type agentsShown struct {
	code   madeCode
	missed bool // a code that was shown before is asked for again
	posted string
	typed  *httpkit.Filled
}

func (d *Desk) agentsPage(c echo.Context, x agentsShown, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	list, err := d.Agents.List(ctx, p.Scope)
	if err != nil {
		return err
	}
	s := page.Agents{Frame: d.frame(&p, "Agents", page.PathAgents), NewCode: x.code.code, CodeFor: x.code.whom}
	if s.Rows, err = d.agentRows(ctx, &p, list); err != nil {
		return err
	}
	if s.Fetched, err = d.fetchedWords(ctx, &p, p.Scope); err != nil {
		return err
	}
	if s.Key, err = d.serverKey(ctx, &p); err != nil {
		return err
	}
	said(c, &s.Frame, map[string]string{"revoked": "The agent was withdrawn. What it recorded stays.",
		"announced": "The new key is announced to every agent that connects.", "newkey": "This server goes on with the new key."})
	if x.missed {
		s.Notices = append(s.Notices, page.Notice{Level: page.Plain, Text: "The code was shown once and is not shown again.", Fix: "Make another one if it was lost."})
	}
	if x.code.code != "" {
		s.CodeUntil = x.code.until.In(d.zone)
		c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	} else if x.typed == nil {
		s.Refresh = refreshSeconds
	}
	if err := d.agentForms(ctx, &p, &s, list); err != nil {
		return err
	}
	if x.typed != nil {
		s.Notices = append(s.Notices, x.typed.Other...)
		forms := []*page.Form{&s.Form, &s.Revoke, &s.Lost}
		if s.Key != nil {
			forms = append(forms, &s.Key.Form)
		}
		for _, f := range forms {
			if f.Action == x.posted {
				x.typed.Into(f)
			}
		}
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) agentForms(ctx context.Context, p *caller, s *page.Agents, list []enrol.Status) error {
	away, err := d.fetched(ctx, p.Scope)
	if err != nil {
		return err
	}
	labs := slices.DeleteFunc(p.keeps(), func(l roster.Lab) bool { return slices.Contains(away, l.ID) })
	if s.MayEnrol = len(labs) > 0; !s.MayEnrol {
		s.NoLab, s.MayLab = len(p.names.All()) == 0, p.Administrator
		return nil
	}
	s.Form = httpkit.Blank(page.CodeFields(), page.PostCode, "code", "Make a code")
	s.Form.Choices = map[string][]page.Choice{"lab": choices(labs)}
	s.Form.Key = d.keys.get(p.ID, page.PostCode)
	var may []page.Choice
	for i := range list {
		if list[i].Revoked.IsZero() && mayKeepAll(p, list[i].Labs) == nil {
			may = append(may, page.Choice{Value: list[i].Node.String(), Text: list[i].Name + ", " + s.Rows[i].Lab})
		}
	}
	if len(may) > 0 {
		s.Revoke = httpkit.Blank(page.RevokeFields(), page.PostRevoke, "revoke", "Withdraw")
		s.Revoke.Key = d.keys.get(p.ID, page.PostRevoke)
		s.Revoke.Choices = map[string][]page.Choice{"agent": may}
		s.Lost = httpkit.Blank(page.LostKeyFields(), page.PostLostKey, "lost", "Make a code for this agent")
		s.Lost.Key, s.Lost.Choices = d.keys.get(p.ID, page.PostLostKey), s.Revoke.Choices
	}
	return nil
}

func mayKeepAll(p *caller, labs []record.LabID) error {
	for _, l := range labs {
		if err := register.MayKeep(p.Principal, l); err != nil {
			return err
		}
	}
	return nil
}

func (d *Desk) agentsAgain(path string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error {
		return d.agentsPage(c, agentsShown{posted: path, typed: f}, status)
	}
}

func (d *Desk) postCode(c echo.Context) error {
	return d.post(c, page.CodeFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		in, err := d.place(ctx, &p, f.Values["lab"])
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, in.ID); err != nil {
			return "", err
		}
		code, until, err := d.Agents.NewCode(ctx, in.ID, f.Values["name"], p.Author())
		if err != nil {
			return "", err
		}
		name, err := p.names.Of(ctx, in.ID)
		if err != nil {
			return "", err
		}
		ticket := d.codes.put(madeCode{by: p.ID, code: code, whom: f.Values["name"] + ", " + name, until: until})
		return page.PathAgents + "?code=" + ticket, nil
	}, d.agentsAgain(page.PostCode))
}

func (d *Desk) postLostKey(c echo.Context) error {
	return d.post(c, page.LostKeyFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		node, err := uuid.Parse(f.Values["agent"])
		if err != nil {
			return "", problem.New(problem.NotFound, "There is no such agent.", "Look at the list of agents.")
		}
		list, err := d.Agents.List(ctx, p.Scope)
		if err != nil {
			return "", err
		}
		if at := slices.IndexFunc(list, func(s enrol.Status) bool { return s.Node == node }); at >= 0 {
			if err := mayKeepAll(&p, list[at].Labs); err != nil {
				return "", err
			}
		}
		code, name, until, err := d.Agents.NewCodeForLost(ctx, p.KeepScope(), node, p.Author())
		if err != nil {
			return "", err
		}
		ticket := d.codes.put(madeCode{by: p.ID, code: code, whom: name + ", which lost its key", until: until})
		return page.PathAgents + "?code=" + ticket, nil
	}, d.agentsAgain(page.PostLostKey))
}

func (d *Desk) postRevoke(c echo.Context) error {
	return d.post(c, page.RevokeFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		list, err := d.Agents.List(ctx, p.Scope)
		if err != nil {
			return "", err
		}
		node, err := uuid.Parse(f.Values["agent"])
		at := slices.IndexFunc(list, func(s enrol.Status) bool { return s.Node == node })
		if err != nil || at < 0 {
			return "", problem.New(problem.NotFound, "There is no such agent.", "Look at the list of agents.")
		}
		if err := mayKeepAll(&p, list[at].Labs); err != nil {
			return "", err
		}
		return done(page.PathAgents, "revoked"), d.Agents.Revoke(ctx, p.Scope, node, p.Author(), f.Values["reason"])
	}, d.agentsAgain(page.PostRevoke))
}

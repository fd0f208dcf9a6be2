package desk

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/account"
	"thudbook/sync/record"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

func (d *Desk) accounts(c echo.Context) error { return d.accountsPage(c, "", nil, http.StatusOK) }

func (d *Desk) accountsPage(c echo.Context, posted string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	people, err := d.Accounts.List(ctx)
	if err != nil {
		return err
	}
	seen, err := d.Accounts.LastUse(ctx)
	if err != nil {
		return err
	}
	s := page.Accounts{Frame: d.frame(&p, "Accounts", page.PathAccounts)}
	said(c, &s.Frame, map[string]string{"account": "The account is there.", "role": "The role was changed. The person signs in again.", "access": "The access was changed."})
	var who []page.Choice
	for i := range people {
		a := &people[i]
		row := page.AccountRow{Name: a.Login, State: page.Status{Level: page.OK, Word: "active"}}
		if a.Name != a.Login {
			row.Name += " (" + a.Name + ")"
		}
		if a.Disabled {
			row.State = page.Status{Level: page.Plain, Word: "may not sign in"}
		}
		if row.Roles, err = rolesOf(ctx, &p, a); err != nil {
			return err
		}
		if t, ok := seen[a.ID]; ok {
			row.LastSeen = t.In(d.zone)
		}
		s.Rows = append(s.Rows, row)
		who = append(who, page.Choice{Value: a.ID.String(), Text: row.Name})
	}
	labs := append([]page.Choice{{Value: "", Text: "none"}}, choices(p.names.All())...)
	s.Form = httpkit.Blank(page.AccountFields(), page.PostAccount, "account", "Create the account")
	s.Role = httpkit.Blank(page.RoleFields(), page.PostRole, "role", "Set the role")
	s.Access = httpkit.Blank(page.AccessFields(), page.PostAccess, "access", "Set")
	for _, f := range []*page.Form{&s.Form, &s.Role, &s.Access} {
		f.Choices = map[string][]page.Choice{"lab": labs, "account": who}
		if typed != nil && f.Action == posted {
			typed.Into(f)
		}
	}
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

func rolesOf(ctx context.Context, p *caller, a *account.Account) ([]string, error) {
	var out []string
	if a.Administrator {
		out = append(out, "administrator")
	}
	for _, g := range a.Grants {
		name, err := p.names.Of(ctx, g.Lab)
		if err != nil {
			return nil, err
		}
		if name == "" {
			name = "lab " + g.Lab.String()
		}
		out = append(out, string(g.Role)+" in "+name)
	}
	return out, nil
}

func (d *Desk) accountsAgain(path string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error { return d.accountsPage(c, path, f, status) }
}

// The values of the role field beside those of account.Role.
const (
	roleAdministrator = "administrator"
	roleNone          = "none"
)

// grant reads the lab of a role; the zero id when none is chosen.
func (d *Desk) grant(ctx context.Context, p *caller, f *httpkit.Filled) (record.LabID, error) {
	if f.Values["lab"] == "" {
		if r := f.Values["role"]; r != roleAdministrator && r != roleNone {
			f.Fault("lab", "Choose the lab that the role holds in.")
		}
		return record.LabID{}, nil
	}
	in, err := d.place(ctx, p, f.Values["lab"])
	if missing(err) {
		f.Fault("lab", "There is no such lab. Choose one from the list.")
		return record.LabID{}, nil
	}
	return in.ID, err
}

func (d *Desk) postAccount(c echo.Context) error {
	return d.post(c, page.AccountFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		in, err := d.grant(ctx, &p, f)
		if err != nil || !f.OK() {
			return "", err
		}
		a := account.Draft{Login: f.Values["name"], Name: f.Values["full_name"], Password: f.Values["password"]}
		switch role := f.Values["role"]; role {
		case roleAdministrator:
			a.Administrator = true
		case roleNone:
		default:
			a.Grants = []account.Grant{{Lab: in, Role: account.Role(role)}}
		}
		_, err = d.Accounts.Create(ctx, a, p.Author())
		return done(page.PathAccounts, "account"), err
	}, d.accountsAgain(page.PostAccount))
}

// postRole gives a role, or takes it away.
func (d *Desk) postRole(c echo.Context) error {
	return d.post(c, page.RoleFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		who, err := uuid.Parse(f.Values["account"])
		if err != nil {
			return "", notFound("account")
		}
		in, err := d.grant(ctx, &p, f)
		if err != nil || !f.OK() {
			return "", err
		}
		return done(page.PathAccounts, "role"), d.Accounts.Change(ctx, who, p.Author(), func(r *account.Rights) {
			setRole(r, in, f.Values["role"])
		})
	}, d.accountsAgain(page.PostRole))
}

func setRole(r *account.Rights, in record.LabID, role string) {
	if role == roleAdministrator || role == roleNone && in == (record.LabID{}) {
		r.Administrator = role == roleAdministrator
		return
	}
	r.Grants = slices.DeleteFunc(r.Grants, func(g account.Grant) bool { return g.Lab == in })
	if role != roleNone {
		r.Grants = append(r.Grants, account.Grant{Lab: in, Role: account.Role(role)})
	}
}

// postAccess sets a password, or shuts an account out and lets it in again.
func (d *Desk) postAccess(c echo.Context) error {
	return d.post(c, page.AccessFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		who, err := uuid.Parse(f.Values["account"])
		if err != nil {
			return "", notFound("account")
		}
		may, password := f.Values["may"], f.Values["new_password"]
		if may != "yes" && may != "no" && password == "" {
			f.Fault("new_password", "Nothing would change. Set a new password, or say whether the person may sign in.")
		}
		if !f.OK() {
			return "", nil
		}
		if may == "yes" || may == "no" {
			err = d.Accounts.Change(ctx, who, p.Author(), func(r *account.Rights) { r.Disabled = may == "no" })
		}
		if err == nil && password != "" {
			err = d.Accounts.SetPassword(ctx, who, password)
		}
		return done(page.PathAccounts, "access"), renamed(err, "password", "new_password")
	}, d.accountsAgain(page.PostAccess))
}

func (d *Desk) labs(c echo.Context) error { return d.labsPage(c, nil, http.StatusOK) }

func (d *Desk) labsPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Labs{Frame: d.frame(&p, "Labs", page.PathLabs), Form: httpkit.Blank(page.LabFields(), page.PostLab, "lab", "Create the lab")}
	said(c, &s.Frame, map[string]string{"lab": "The lab is there. Give people a role in it under Accounts, and enrol its agents under Agents."})
	agents, err := d.Agents.List(ctx, p.Scope)
	if err != nil {
		return err
	}
	if s.Rows, err = d.labRows(ctx, &p, nil, agents); err != nil {
		return err
	}
	if typed != nil {
		typed.Into(&s.Form)
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) postLab(c echo.Context) error {
	return d.post(c, page.LabFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		var was uuid.UUID
		if text := strings.TrimSpace(f.Values["id"]); text != "" {
			if was, err = uuid.Parse(text); err != nil {
				f.Fault("id", "This is no identity of a lab. Copy it from the screen Server of one of its agents, or leave it empty.")
				return "", nil
			}
		}
		_, err = d.Register.NewLab(ctx, p.Principal, f.Values["name"], was)
		return done(page.PathLabs, "lab"), err
	}, d.labsPage)
}

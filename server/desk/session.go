package desk

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

func (d *Desk) signInPage(c echo.Context, status int, form page.Form, next string) error {
	form.Action, form.Fields, form.Submit = page.PostSignIn, page.SignInFields(), "Sign in"
	if next != "" {
		form.Hidden = map[string]string{"next": next}
	}
	f := page.Frame{Title: "Sign in", Place: d.Name, Version: d.Version, Now: d.Now().In(d.zone)}
	said(c, &f, map[string]string{"out": "You are signed out.", "password": "The new password is set. Sign in with it."})
	return httpkit.Page(c, status, page.SignIn{Frame: f, Form: form})
}

func (d *Desk) signInScreen(c echo.Context) error {
	next := c.QueryParam("next")
	if _, ok, err := d.Accounts.Who(c.Request().Context(), d.Door.Token(c)); err != nil {
		return err
	} else if ok {
		return httpkit.SeeOther(c, door.Next(next))
	}
	return d.signInPage(c, http.StatusOK, page.Form{}, next)
}

// signIn checks name and password and opens a session of its own; a session
// that the browser had before is ended.
func (d *Desk) signIn(c echo.Context) error {
	ctx := c.Request().Context()
	name, password, next := c.FormValue("name"), c.FormValue("password"), c.FormValue("next")
	token, _, err := d.Accounts.SignIn(ctx, name, password, d.from(c))
	if err == nil {
		if old := d.Door.Token(c); old != "" {
			if err := d.Accounts.SignOut(ctx, old); err != nil {
				return err
			}
		}
		d.Door.Open(c, token)
		return httpkit.SeeOther(c, door.Next(next))
	}
	p, ok := problem.As(err)
	if !ok {
		return err
	}
	status := httpkit.Status(p.Code)
	if p.Code == problem.Unavailable {
		status = http.StatusTooManyRequests
	}
	d.Log.Info("sign-in refused", "remote", c.RealIP(), "status", status)
	return d.signInPage(c, status, page.Form{Values: map[string]string{"name": name}, Errors: map[string]string{"password": httpkit.Sentence(p)}}, next)
}

// from is the caller's address. Behind a proxy all callers share the proxy's,
// so that it says nothing.
func (d *Desk) from(c echo.Context) string {
	if d.Door.Secure && c.Request().TLS == nil {
		return ""
	}
	return c.RealIP()
}

func (d *Desk) signOut(c echo.Context) error {
	if err := d.Accounts.SignOut(c.Request().Context(), d.Door.Token(c)); err != nil {
		return err
	}
	d.Door.Shut(c)
	return httpkit.SeeOther(c, done(page.PathSignIn, "out"))
}

func (d *Desk) passwordScreen(c echo.Context) error { return d.passwordPage(c, nil, http.StatusOK) }

func (d *Desk) passwordPage(c echo.Context, typed *httpkit.Filled, status int) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Password{Frame: d.frame(&p, "Password", page.PathPassword), Form: httpkit.Blank(page.PasswordFields(), page.PostPassword, "password", "Set the password")}
	typed.Into(&s.Form)
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) password(c echo.Context) error {
	return d.post(c, page.PasswordFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if f.Values["password"] != f.Values["again"] {
			f.Fault("again", "The two do not agree. Type the new password twice.")
		}
		if !f.OK() {
			return "", nil
		}
		return done(page.PathSignIn, "password"), d.Accounts.ChangePassword(ctx, door.Of(c).ID, f.Values["present"], f.Values["password"])
	}, d.passwordPage)
}

// Package door is where a request becomes a person: it reads the session's
// cookie, and gives the one scope through which that person may read.
package door

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/server/account"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// Door knows the accounts, and under which further ids a lab's agents wrote.
type Door struct {
	Accounts *account.Store
	// Widen adds to a scope the ids under which agents of its labs wrote before
	// they were enrolled.
	Widen func(context.Context, scope.Scope) (scope.Scope, error)
	// Secure says that browsers reach the server by HTTPS.
	Secure bool
}

// Caller is a signed-in person with what they may see.
type Caller struct {
	account.Principal
	Scope scope.Scope // aliases included; hides the bare scope of the principal
}

const callerKey = "thudbook.caller"

// cookie gives the session cookie's name: with HTTPS the __Host- prefix binds
// it to this host.
func (d *Door) cookie() string {
	if d.Secure {
		return "__Host-thudbook"
	}
	return "thudbook"
}

// Token reads the session's token from the request, "" when there is none.
func (d *Door) Token(c echo.Context) string {
	k, err := c.Cookie(d.cookie())
	if err != nil {
		return ""
	}
	return k.Value
}

// Open hands the browser its session.
func (d *Door) Open(c echo.Context, token string) {
	d.set(c, token, int(account.AbsoluteLimit.Seconds()))
}

// Shut takes the session from the browser.
func (d *Door) Shut(c echo.Context) { d.set(c, "", -1) }

func (d *Door) set(c echo.Context, value string, maxAge int) {
	c.SetCookie(&http.Cookie{Name: d.cookie(), Value: value, Path: "/", MaxAge: maxAge,
		HttpOnly: true, Secure: d.Secure, SameSite: http.SameSiteLaxMode})
}

// Screens lets signed-in people through and sends strangers to the sign-in page.
func (d *Door) Screens(next echo.HandlerFunc) echo.HandlerFunc {
	return d.guard(next, func(c echo.Context) error {
		to := page.PathSignIn
		if c.Request().Method == http.MethodGet && c.Request().URL.Path != "/" {
			to += "?next=" + url.QueryEscape(c.Request().URL.RequestURI())
		}
		return httpkit.SeeOther(c, to)
	})
}

// API lets signed-in people through and answers strangers with a problem.
func (d *Door) API(next echo.HandlerFunc) echo.HandlerFunc {
	return d.guard(next, func(echo.Context) error {
		return problem.New(problem.Unauthenticated, "This needs a signed-in person.", "Sign in at /signin; the session's cookie opens the API too.")
	})
}

func (d *Door) guard(next, stranger echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx := c.Request().Context()
		p, ok, err := d.Accounts.Who(ctx, d.Token(c))
		if err != nil {
			return err
		}
		if !ok {
			return stranger(c)
		}
		sc, err := d.Widen(ctx, p.Scope())
		if err != nil {
			return err
		}
		c.Set(callerKey, Caller{Principal: p, Scope: sc})
		return next(c)
	}
}

// Of gives the person of a request that came through the door. It panics
// elsewhere: a route that forgot the door must not answer.
func Of(c echo.Context) Caller { return c.Get(callerKey).(Caller) }

// Known gives the person of a request, if there is one.
func Known(c echo.Context) (Caller, bool) {
	p, ok := c.Get(callerKey).(Caller)
	return p, ok
}

// Administrators lets administrators through and tells others that there is
// nothing here for them. It stands behind Screens or API.
func Administrators(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !Of(c).Administrator {
			return problem.New(problem.Forbidden, "Only an administrator of the server may do this.", "Ask one.")
		}
		return next(c)
	}
}

// Next gives the local path to go to after sign-in; anything that could lead
// to another site is dropped.
func Next(posted string) string {
	if !strings.HasPrefix(posted, "/") || strings.HasPrefix(posted, "//") || strings.ContainsAny(posted, "\\\r\n\t") {
		return page.PathHome
	}
	return posted
}

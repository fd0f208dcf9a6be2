package server_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/server"
	"thudbook/server/account"
)

func signInForm(name, password, next string) url.Values {
	return url.Values{"name": {name}, "password": {password}, "next": {next}}
}

func TestSignIn(t *testing.T) {
	t.Parallel()
	w := start(t)
	for _, c := range []struct {
		what, name, password, next string
		status                     int
		location                   string
	}{
		{"right", "admin", w.firstPassword(), "", 303, "/"},
		{"name in capitals", " ADMIN ", w.firstPassword(), "/equipment?lab=x", 303, "/equipment?lab=x"},
		{"next on another site", "admin", w.firstPassword(), "https://elsewhere.example/", 303, "/"},
		{"next without scheme", "admin", w.firstPassword(), "//elsewhere.example/", 303, "/"},
		{"next with a backslash", "admin", w.firstPassword(), "/\\elsewhere.example/", 303, "/"},
		{"wrong password", "admin", "not the password", "/shots", 401, ""},
		{"unknown name", "nobody", w.firstPassword(), "", 401, ""},
		{"nothing", "", "", "", 401, ""},
		{"password of a megabyte", "admin", strings.Repeat("x", 900_000), "", 401, ""},
	} {
		p := w.stranger()
		a := p.form("/signin", signInForm(c.name, c.password, c.next))
		if a.status != c.status || a.header.Get("Location") != c.location {
			t.Errorf("%s: %d to %q, want %d to %q", c.what, a.status, a.header.Get("Location"), c.status, c.location)
		}
		if c.status == 303 {
			cookie := a.header.Get("Set-Cookie")
			for _, want := range []string{"HttpOnly", "SameSite=Lax", "Path=/"} {
				if !strings.Contains(cookie, want) {
					t.Errorf("%s: the session's cookie %q lacks %s", c.what, cookie, want)
				}
			}
			continue
		}
		if !strings.Contains(a.body, "The name or the password is wrong.") || a.header.Get("Set-Cookie") != "" {
			t.Errorf("%s: cookie %q, body %.200s", c.what, a.header.Get("Set-Cookie"), a.body)
		}
		if len(c.password) > 10 && strings.Contains(a.body, c.password) {
			t.Errorf("%s: the answer repeats the password", c.what)
		}
		p.get("/shots").want(t, 303, "a page after a refused sign-in")
	}
}

// TestThrottle: wrong passwords for a name make that name wait, for the right
// password too, and no other; the wait ends.
func TestThrottle(t *testing.T) {
	t.Parallel()
	w := start(t)
	w.admin.make("/api/v1/accounts", map[string]any{"login": "other", "password": "another long password"})
	p := w.stranger()
	for range 5 {
		p.form("/signin", signInForm("admin", "wrong", "")).want(t, 401, "a wrong password")
	}
	a := p.form("/signin", signInForm("admin", w.firstPassword(), "")).want(t, 429, "the right password after five wrong ones")
	if !strings.Contains(a.body, "Wait 10 seconds, then try again.") {
		t.Errorf("the screen does not say how long to wait: %.300s", a.body)
	}
	p.form("/signin", signInForm("other", "another long password", "")).want(t, 303, "another name meanwhile")
	w.clock.move(11 * time.Second)
	p.form("/signin", signInForm("admin", "wrong", "")).want(t, 401, "a wrong password after the wait")
	p.form("/signin", signInForm("admin", w.firstPassword(), "")).want(t, 429, "the right password in the second wait")
	w.clock.move(21 * time.Second)
	p.form("/signin", signInForm("admin", w.firstPassword(), "")).want(t, 303, "the right password after the second wait")
}

func TestSessionEnds(t *testing.T) {
	t.Parallel()
	w := start(t)
	p := w.signIn("admin", w.firstPassword())
	w.clock.move(account.IdleLimit - time.Minute)
	p.get("/").want(t, 200, "a page just before the session idles out")
	w.clock.move(account.IdleLimit - time.Minute)
	p.get("/").want(t, 200, "a page again: use keeps the session alive")
	w.clock.move(account.IdleLimit + time.Minute)
	p.get("/shots").want(t, 303, "a page after the idle limit")
	p.get("/api/v1/shots").want(t, 401, "the API after the idle limit")

	p = w.signIn("admin", w.firstPassword())
	for used := time.Duration(0); used < account.AbsoluteLimit; used += 11 * time.Hour {
		p.get("/").want(t, 200, "a page within the absolute limit")
		w.clock.move(11 * time.Hour)
	}
	p.get("/").want(t, 303, "a page after the absolute limit, in spite of use")

	p = w.signIn("admin", w.firstPassword())
	cookies := p.http.Jar.Cookies(mustURL(t, w.url))
	a := p.form("/signout", nil).want(t, 303, "sign-out")
	if a.header.Get("Location") != "/signin?done=out" {
		t.Errorf("sign-out leads to %q", a.header.Get("Location"))
	}
	thief := w.stranger()
	thief.http.Jar.SetCookies(mustURL(t, w.url), cookies)
	thief.get("/").want(t, 303, "a page with the cookie of a session that was ended")
}

func mustURL(t *testing.T, s string) *url.URL {
	t.Helper()
	u, err := url.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// TestFirstPassword: it is printed once, kept in a file for its owner alone,
// and gone when that administrator sets another one, which ends all sessions.
func TestFirstPassword(t *testing.T) {
	t.Parallel()
	w := start(t)
	first := w.firstPassword()
	if len(first) < 20 || strings.Count(w.out.String(), first) != 1 {
		t.Errorf("the first password of %d characters is printed %d times", len(first), strings.Count(w.out.String(), first))
	}
	file := filepath.Join(w.dir, server.FirstPasswordFile)
	fi, err := os.Stat(file)
	if err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("the file of the first password: %v, %v", fi, err)
	}
	if err := w.stop(); err != nil {
		t.Fatal(err)
	}
	w.run()
	if strings.Contains(w.out.String(), first) || w.firstPassword() != first {
		t.Error("a second start prints the password again, or changed it")
	}
	p, other := w.signIn("admin", first), w.signIn("admin", first)
	for what, v := range map[string]url.Values{
		"present password wrong": {"present": {"wrong password"}, "password": {"a new long password"}, "again": {"a new long password"}},
		"new ones differ":        {"present": {first}, "password": {"a new long password"}, "again": {"another new password"}},
		"new one short":          {"present": {first}, "password": {"short"}, "again": {"short"}},
	} {
		a := p.form("/password", v).want(t, 422, what)
		if !strings.Contains(a.body, "class=\"error\"") || strings.Contains(a.body, "a new long password") {
			t.Errorf("%s: no fault is marked, or a password is shown: %.600s", what, a.body)
		}
	}
	p.form("/password", url.Values{"present": {first}, "password": {"a new long password"}, "again": {"a new long password"}}).want(t, 303, "a good new password")
	if _, err := os.Stat(file); !os.IsNotExist(err) {
		t.Errorf("the file of the first password is still there: %v", err)
	}
	p.get("/").want(t, 303, "a page of the session that set the password")
	other.get("/").want(t, 303, "a page of another session of the same account")
	w.stranger().form("/signin", signInForm("admin", first, "")).want(t, 401, "the old password")
	w.signIn("admin", "a new long password").get("/").want(t, 200, "a page with the new password")
}

// TestDisabled: an account that is shut out loses its sessions at once, cannot
// sign in, and comes back; the last administrator cannot be shut out.
func TestDisabled(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Alder", 1)
	id := ""
	for _, a := range into[[]struct{ ID, Login string }](t, w.admin.get("/api/v1/accounts")) {
		if a.Login == "alder.operator" {
			id = a.ID
		}
	}
	s.operator.get("/shots").want(t, 200, "the operator's page before")
	w.admin.form("/accounts/access", url.Values{"account": {id}, "may": {"no"}}).want(t, 303, "shutting out")
	s.operator.get("/shots").want(t, 303, "the operator's page after")
	w.stranger().form("/signin", signInForm("alder.operator", "a long password of Alder", "")).want(t, 401, "sign-in of a shut-out account")
	w.admin.form("/accounts/access", url.Values{"account": {id}, "may": {"yes"}, "new_password": {"quite another password"}}).want(t, 303, "letting in again")
	w.signIn("alder.operator", "quite another password").get("/shots").want(t, http.StatusOK, "a page afterwards")

	admin := into[[]struct{ ID, Login string }](t, w.admin.get("/api/v1/accounts"))[0]
	if admin.Login != "admin" {
		t.Fatalf("the first account is %s", admin.Login)
	}
	a := w.admin.form("/accounts/access", url.Values{"account": {admin.ID}, "may": {"no"}}).want(t, 409, "shutting out the last administrator")
	if !strings.Contains(a.body, "no administrator would be left") {
		t.Errorf("the screen does not say why: %.300s", a.body)
	}
	w.admin.form("/accounts/roles", url.Values{"account": {admin.ID}, "role": {"none"}}).want(t, 409, "taking the last administrator's role")
	w.admin.get("/accounts").want(t, 200, "the administrator's page afterwards")
}

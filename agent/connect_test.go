package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/agent"
	"thudbook/sync/exchange"
	"thudbook/sync/lab/labtest"
)

// faultAt gives what is said to be wrong beside each field of a screen.
func faultAt(body string) map[string]string {
	out := map[string]string{}
	for _, m := range regexp.MustCompile(`id="f-([a-z]+)-error">■ ([^<]*)<`).FindAllStringSubmatch(body, -1) {
		out[m[1]] = m[2]
	}
	return out
}

// What is wrong with a one-time code stands at its field, and says which group
// to look at; a code is taken in small letters, with spaces or dashes.
func TestCodeIsJudgedAtItsField(t *testing.T) {
	f := newFar(t, nil)
	code, err := f.registry.Code(f.service, f.lab)
	if err != nil {
		t.Fatal(err)
	}
	unknown, err := exchange.NewCode(f.service.PublicKey())
	if err != nil {
		t.Fatal(err)
	}
	r := start(t)
	refused := func(server, code, field, words string, shown bool) {
		t.Helper()
		a := r.form("/connect", url.Values{"server": {server}, "code": {code}})
		at := faultAt(a.body)
		if a.status != http.StatusUnprocessableEntity || len(at) != 1 || !strings.Contains(at[field], words) {
			t.Errorf("%s = %d, faults %q, want %q at %s", code, a.status, at, words, field)
		}
		if strings.Contains(a.body, `value="`+code+`"`) != shown {
			t.Errorf("%s is shown again: %t", code, !shown)
		}
	}
	// Nobody answers yet: a fault of the address, and not of a code that can be right.
	server := "http://" + f.address
	refused(server, code, "server", "", false)
	f.answer()
	groups := strings.Split(code, "-")
	with := func(i int, group string) string {
		g := append([]string{}, groups...)
		g[i] = group
		return strings.Join(g, " ")
	}
	refused(server, with(2, "12U45"), "code", "in group 3; no code has that character", true)
	refused(server, with(3, "1234"), "code", "The code has 39 characters without spaces and dashes; it needs 40, in 8 groups of 5. Group 4 has 4.", true)
	refused(server, strings.Join(groups, "")+"7", "code", "The code has 41 characters", true)
	refused(server, unknown.String(), "code", "does not know this code", false)
	// As a person types it: small letters, a space, a dash of a phone's keyboard.
	typed := strings.ToLower(strings.Join(groups[:4], " ") + "–" + strings.Join(groups[4:], "\u00a0"))
	r.send("/connect", url.Values{"server": {server}, "code": {typed}}, "/connect")
}

// Whoever knows that the server is back does not wait for the next planned try.
func TestTryNow(t *testing.T) {
	f := newFar(t, nil)
	f.answer()
	code, err := f.registry.Code(f.service, f.lab)
	if err != nil {
		t.Fatal(err)
	}
	r := start(t, func(o *agent.Options) { o.SyncEvery = time.Hour })
	if strings.Contains(r.page("/connect"), "/connect/now") {
		t.Error("it offers to try though there is no server")
	}
	r.send("/connect", url.Values{"server": {"http://" + f.address}, "code": {code}}, "/connect")
	r.until("the first exchange", func() bool { return strings.Contains(r.get("/connect").body, "up to date") })
	labtest.Append(t, f.ledger.Ledger, f.lab, campaign(t))
	r.send("/connect/now", fields(t, r.page("/connect"), "/connect/now"), "/connect")
	r.until("what is new on the server", func() bool { return strings.Contains(r.get("/next").body, "Guards, first series") })
}

package agent_test

import (
	"bytes"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/agent"
	"thudbook/agent/device"
)

func withDevices(o *agent.Options) { o.DevicesAt = "127.0.0.1:0" }

var (
	pairURL = regexp.MustCompile(`https://127\.0\.0\.1:[0-9]+/pair/([A-Z2-7]{26})`) // 26 × 5 bits
	prints  = regexp.MustCompile(`[0-9A-F]{2}(?:[: ][0-9A-F]{2}){31}`)
)

// phone is a device that trusts one certificate by its fingerprint, and nothing else.
type phone struct {
	t      *testing.T
	base   string
	client http.Client
	cookie string
}

func (r *running) newPhone(base, fingerprint string) *phone {
	return &phone{t: r.t, base: base, client: http.Client{Timeout: 30 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true, VerifyConnection: func(s tls.ConnectionState) error {
			sum := sha256.Sum256(s.PeerCertificates[0].Raw)
			if !strings.EqualFold(fmt.Sprintf("%x", sum), strings.NewReplacer(":", "", " ", "").Replace(fingerprint)) {
				return errors.New("another certificate")
			}
			return nil
		}}}}}
}

func (p *phone) ask(method, path string, form url.Values, headers ...string) answer {
	p.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	req, err := http.NewRequest(method, p.base+path, body)
	if err != nil {
		p.t.Fatal(err)
	}
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		req.Header.Set("Origin", p.base)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
		if headers[i] == "Host" {
			req.Host = headers[i+1]
		}
	}
	if p.cookie != "" {
		req.Header.Set("Cookie", p.cookie)
	}
	res, err := p.client.Do(req)
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return answer{res.StatusCode, res.Header, string(b)}
}

// newCode presses the button at the rig.
func (r *running) newCode() (base, code, fingerprint string) {
	r.t.Helper()
	if a := r.form("/devices/code", url.Values{}); a.status != http.StatusSeeOther {
		r.t.Fatalf("make a code = %d %s", a.status, a.body)
	}
	b := r.page("/devices", "<svg class=\"qr\"", "compare the SHA-256 fingerprint")
	m := pairURL.FindStringSubmatch(b)
	if m == nil {
		r.t.Fatalf("no address to pair with:\n%s", b)
	}
	return strings.TrimSuffix(m[0], "/pair/"+m[1]), m[1], prints.FindString(b)
}

func (p *phone) pair(code, name string) answer {
	p.t.Helper()
	a := p.ask("POST", "/pair/"+code, url.Values{"name": {name}})
	if c := a.header.Get("Set-Cookie"); c != "" {
		p.cookie, _, _ = strings.Cut(c, ";")
	}
	return a
}

func TestPairing(t *testing.T) {
	r := start(t, withDevices)
	if a := r.post(part{"file", "a.csv", csv(60)}); a.status != http.StatusCreated {
		t.Fatal(a.status)
	}
	id := r.get("/api/v1/shots").json(t)["shots"].([]any)[0].(map[string]any)["id"].(string)
	r.page("/devices", "No other machine reaches this agent now", "No device is paired")
	if _, err := os.Stat(filepath.Join(r.opt.Data, device.CertificateFile)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a certificate was made before anybody paired: %v", err)
	}
	base, code, fingerprint := r.newCode()
	r.page("/devices", "No tablet or phone can reach this agent", "--devices-listen :8372")
	p := r.newPhone(base, fingerprint)

	// Nobody gets anything of the lab before pairing, on any path.
	for _, path := range []string{"/", "/shots", "/shots/" + id, "/shots/" + id + "/traces.bin", "/api/v1/shots", "/api/openapi.json", "/metrics", "/healthz", "/readyz", "/devices", "/people", "/manual", "/nowhere", "/%73hots", "/assets/../shots", "/assets/%2e%2e/shots", "/pair"} {
		a := p.ask("GET", path, nil)
		if (a.status != http.StatusUnauthorized && a.status != http.StatusNotFound) || strings.Contains(a.body, "rig nine") || strings.Contains(a.body, "Invented lab") || strings.Contains(a.body, id) {
			t.Errorf("GET %s of a device that is not paired = %d\n%s", path, a.status, a.body)
		}
	}
	if a := p.ask("GET", "/shots", nil); a.status != http.StatusUnauthorized || !strings.Contains(a.body, "This device is not paired") || !strings.Contains(a.body, "Pair a tablet or phone") {
		t.Errorf("what an unpaired device is shown = %d %s", a.status, a.body)
	}
	if hsts := p.ask("GET", "/shots", nil).header.Get("Strict-Transport-Security"); hsts != "" { // RFC 6797: it holds for all ports of a name
		t.Errorf("the browser is told to use HTTPS alone, which the rig's own screen does not speak: %s", hsts)
	}
	if a := p.ask("GET", "/shots", nil, "Accept", "application/json"); a.status != http.StatusUnauthorized || !strings.Contains(a.body, `"unauthenticated"`) {
		t.Errorf("what an unpaired program is told = %d %s", a.status, a.body)
	}
	for _, path := range []string{"/shots/" + id + "/void", "/api/v1/shots", "/devices/code", "/people/add"} {
		if a := p.ask("POST", path, url.Values{"void": {"yes"}, "reason": {"x"}, "name": {"N"}, "pin": {"4711"}}); a.status != http.StatusUnauthorized {
			t.Errorf("POST %s of a device that is not paired = %d", path, a.status)
		}
	}
	// Errors before the handlers tell nothing either: a foreign name, a foreign page.
	if a := p.ask("GET", "/shots", nil, "Host", "rig.example"); a.status != http.StatusMisdirectedRequest || strings.Contains(a.body, "rig nine") {
		t.Errorf("under another name = %d %s", a.status, a.body)
	}
	if a := p.ask("POST", "/pair/"+code, url.Values{"name": {"Blue tablet"}}, "Origin", "https://other.example", "Sec-Fetch-Site", "cross-site"); a.status != http.StatusForbidden || a.header.Get("Set-Cookie") != "" || strings.Contains(a.body, "rig nine") {
		t.Errorf("from another site's page = %d %s", a.status, a.body)
	}
	if asset := regexp.MustCompile(`/assets/app[^"]*\.css`).FindString(p.ask("GET", "/shots", nil).body); asset == "" || p.ask("GET", asset, nil).status != http.StatusOK {
		t.Errorf("the page to pair has no style: %q", asset)
	}

	// Wrong codes; looking at the page uses nothing up; the code works once.
	if a := p.pair(strings.Repeat("A", 26), "Blue tablet"); a.status != http.StatusUnauthorized || p.cookie != "" || !strings.Contains(a.body, "This code is not good") {
		t.Errorf("a wrong code = %d %s", a.status, a.body)
	}
	if a := p.ask("GET", "/pair/"+code, nil); a.status != http.StatusOK || !strings.Contains(a.body, "Name of this device") {
		t.Errorf("GET of the code = %d", a.status)
	}
	if a := p.pair(code, " "); a.status != http.StatusUnprocessableEntity || p.cookie != "" {
		t.Errorf("without a name = %d", a.status)
	}
	a := p.pair(code, "Blue tablet")
	set := a.header.Get("Set-Cookie")
	if a.status != http.StatusSeeOther || p.cookie == "" {
		t.Fatalf("pair = %d %s", a.status, a.body)
	}
	for _, want := range []string{"__Host-", "; Path=/", "; HttpOnly", "; Secure", "; SameSite=Lax"} { // RFC 6265bis
		if !strings.Contains(set, want) {
			t.Errorf("the cookie has no %s: %s", want, set)
		}
	}
	other := r.newPhone(base, fingerprint)
	if a := other.pair(code, "Second"); a.status != http.StatusUnauthorized || other.cookie != "" {
		t.Errorf("a used code = %d", a.status)
	}
	if strings.Contains(r.log.String(), code) {
		t.Error("the code stands in the log")
	}
	if b, err := os.ReadFile(filepath.Join(r.opt.Data, "store.db")); err != nil || bytes.Contains(b, []byte(p.cookie[strings.Index(p.cookie, ".")+1:])) {
		t.Errorf("the token itself is in the store (%v)", err)
	}

	// The device works, what belongs to the rig's own screen stays there.
	if a := p.ask("GET", "/shots/"+id, nil); a.status != http.StatusOK || !strings.Contains(a.body, "rig nine") {
		t.Errorf("a shot on the device = %d", a.status)
	}
	for _, path := range []string{"/devices", "/setup", "/connect", "/metrics"} {
		if a := p.ask("GET", path, nil); a.status != http.StatusForbidden {
			t.Errorf("GET %s on the device = %d", path, a.status)
		}
	}
	for _, path := range []string{"/devices/code", "/devices/remove", "/setup/rig", "/connect", "/connect/key", "/api/v1/key", "/api/v1/shots"} {
		if a := p.ask("POST", path, url.Values{}); a.status != http.StatusForbidden {
			t.Errorf("POST %s on the device = %d", path, a.status)
		}
	}
	if a := r.get("/pair/" + code); a.status != http.StatusNotFound {
		t.Errorf("pairing on the rig's own screen = %d", a.status)
	}

	// Who is signed in is a matter of each screen.
	if a := r.form("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}}); a.status != http.StatusSeeOther {
		t.Fatal(a.status)
	}
	void := func() answer {
		return p.ask("POST", "/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "specimen": {"H-20"}}, "Accept", "application/json")
	}
	if a := void(); a.status != http.StatusUnauthorized || !strings.Contains(a.json(t)["error"].(map[string]any)["what"].(string), "nobody has signed in") {
		t.Errorf("recording on a device where nobody is signed in = %d %s", a.status, a.body)
	}
	who := regexp.MustCompile(`/people/[0-9a-f-]{36}`).FindString(r.page("/people"))
	if a := p.ask("POST", who, url.Values{"pin": {"4711"}}); a.status != http.StatusSeeOther {
		t.Errorf("sign in on the device = %d", a.status)
	}
	if a := r.form("/people/out", nil); a.status != http.StatusSeeOther {
		t.Errorf("sign out at the rig = %d", a.status)
	}
	if a := void(); a.status != http.StatusSeeOther {
		t.Errorf("recording on the device = %d %s", a.status, a.body)
	}
	if a := r.form("/devices/code", url.Values{}); a.status != http.StatusUnauthorized {
		t.Errorf("a code with nobody signed in at the rig = %d", a.status)
	}
	r.page("/devices", "Blue tablet", "Wilma Quill")

	// All of it stays over a restart: listener, certificate, device.
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	r.opt.DevicesAt = strings.TrimPrefix(base, "https://")
	r.run()
	r.until("the devices' listener is open again", func() bool { return strings.Contains(r.page("/devices"), fingerprint) })
	if a := p.ask("GET", "/shots/"+id, nil); a.status != http.StatusOK || !strings.Contains(a.body, "Wilma Quill") {
		t.Errorf("after a restart = %d", a.status)
	}
	if info, err := os.Stat(filepath.Join(r.opt.Data, device.CertificateFile)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key's file: %v %v", info, err)
	}
	// Removed at the rig: out at once.
	r.form(who, url.Values{"pin": {"4711"}})
	dev := regexp.MustCompile(`name="device" value="([^"]+)"`).FindStringSubmatch(r.page("/devices"))[1]
	if a := r.form("/devices/remove", url.Values{"device": {dev}}); a.status != http.StatusSeeOther {
		t.Errorf("remove = %d", a.status)
	}
	if a := p.ask("GET", "/shots/"+id, nil); a.status != http.StatusUnauthorized || strings.Contains(a.body, "rig nine") {
		t.Errorf("a removed device = %d", a.status)
	}
	if a := void(); a.status != http.StatusUnauthorized {
		t.Errorf("a removed device records = %d", a.status)
	}
	if b := r.page("/devices", "No device is paired"); strings.Contains(b, "Blue tablet") {
		t.Error("it is still listed")
	}
}

// Guesses wait longer and longer; that a code ends is tested with a clock beside it.
func TestCodesEnd(t *testing.T) {
	r := start(t, withDevices)
	base, _, fingerprint := r.newCode()
	p := r.newPhone(base, fingerprint)
	for i := range 6 {
		a := p.pair(strings.Repeat("B", 26), "Blue tablet")
		if waits := strings.Contains(a.body, "Too many wrong codes"); waits != (i == 5) {
			t.Errorf("try %d waits: %t (%d)", i+1, waits, a.status)
		}
	}
	if a := p.pair("x", "n"); a.status != http.StatusUnprocessableEntity {
		t.Errorf("while it waits = %d", a.status)
	}
	_, again, _ := r.newCode()
	if _, third, _ := r.newCode(); third == again {
		t.Error("a code twice")
	}
}

func TestDevicesSwitchedOff(t *testing.T) {
	r := start(t, withDevices, func(o *agent.Options) { o.Devices = device.Off })
	r.page("/devices", "switched off in the settings")
	if a := r.form("/devices/code", url.Values{}); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "Set devices to auto or on") {
		t.Errorf("a code = %d", a.status)
	}
	for at, words := range map[string]string{"8372": "not of the form HOST:PORT", "rig.example:8372": "has a name in it"} {
		o := r.opt
		o.DevicesAt, o.Data = at, t.TempDir()
		if err := agent.Run(t.Context(), o); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("--devices-listen %s: %v", at, err)
		}
	}
	// A port that is taken is told on the screen, and stops nothing.
	busy := start(t, func(o *agent.Options) { o.Devices, o.DevicesAt = device.On, strings.TrimPrefix(r.base, "http://") })
	busy.until("it is told", func() bool { return strings.Contains(busy.page("/devices"), "cannot be answered at") })
}

// The certificate survives whatever the clock says; see RFC 5280 for its fields.
func TestCertificateAndClock(t *testing.T) {
	dir := t.TempDir()
	at := func(s string) time.Time {
		d, err := time.Parse(time.DateOnly, s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	made := func(now string) *x509.Certificate {
		t.Helper()
		pair, err := device.Certificate(dir, at(now), nil)
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(dir, device.CertificateFile))
		if err != nil {
			t.Fatal(err)
		}
		block, _ := pem.Decode(b)
		if block == nil || !bytes.Equal(block.Bytes, pair.Certificate[0]) {
			t.Fatal("the file holds another certificate")
		}
		return pair.Leaf
	}
	first := made("1970-01-01")
	if first.NotBefore.After(at("2026-01-01")) || first.NotAfter.Before(at("2035-12-31")) {
		t.Errorf("made in 1970: %s to %s", first.NotBefore, first.NotAfter)
	}
	for _, day := range []string{"1970-06-01", "2026-03-01", "2030-01-01", "2035-06-01"} {
		if !made(day).Equal(first) {
			t.Errorf("%s: a new certificate", day)
		}
	}
	renewed := made("2035-10-01")
	if renewed.Equal(first) || renewed.NotAfter.Before(at("2045-09-30")) {
		t.Error("it was not renewed before it ended")
	}
	far := made("2099-01-01")
	if far.NotBefore.Before(at("2098-12-30")) {
		t.Errorf("made in 2099: from %s", far.NotBefore)
	}
	if back := made("2026-05-01"); back.NotBefore.After(at("2026-05-01")) {
		t.Errorf("after the clock was set right: from %s", back.NotBefore)
	}
	if err := os.WriteFile(filepath.Join(dir, device.CertificateFile), []byte("spoilt"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := device.Certificate(dir, at("2026-05-01"), nil); err == nil || !strings.Contains(err.Error(), "cannot be read") {
		t.Errorf("a spoilt file: %v", err)
	}
}

package agent_test

import (
	"bytes"
	"crypto/sha256"
	"crypto/tls"
	"encoding/base64"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/agent/device"
	"thudbook/web/browsertest"
)

// keyOf is the name of a certificate's public key as Chromium takes it.
func keyOf(t *testing.T, data string) string {
	t.Helper()
	path := filepath.Join(data, device.CertificateFile)
	pair, err := tls.LoadX509KeyPair(path, path)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(pair.Leaf.RawSubjectPublicKeyInfo)
	return base64.StdEncoding.EncodeToString(sum[:])
}

// A phone pairs in a real browser, over TLS, and shows the screens; the drawn
// code is read by another program (zbarimg).
func TestPairingInBrowser(t *testing.T) {
	r := start(t, withDevices)
	base, code, _ := r.newCode()
	browser := browsertest.New(t, keyOf(t, r.opt.Data))
	rig := browser.Tab(t, r.base)
	rig.Look(browsertest.Desktop)
	rig.Open("/devices")
	dir := t.TempDir()
	rig.Picture(dir, "rig")
	out, err := exec.Command("zbarimg", "--quiet", "--raw", filepath.Join(dir, "rig.png")).Output()
	if err != nil || strings.TrimSpace(string(out)) != base+"/pair/"+code {
		t.Errorf("zbarimg (make test-tools installs it) reads %q in the drawn code: %v", bytes.TrimSpace(out), err)
	}
	for _, v := range rig.Axe(axe) {
		t.Errorf("at the rig: %s", v)
	}

	phone := browser.Tab(t, base)
	phone.Look(browsertest.Phone)
	phone.Allow("the server responded with a status of 401")
	phone.Open("/shots")
	phone.Wait(`document.body.innerText.includes("This device is not paired with the rig")`)
	phone.Open("/pair/" + code)
	sound := func(where string) {
		t.Helper()
		for _, v := range phone.Axe(axe) {
			t.Errorf("%s: %s", where, v)
		}
		if n := phone.Sideways(); n > 0 {
			t.Errorf("%s: %d px of sideways scroll", where, n)
		}
	}
	sound("the name")
	if _, err := chromedp.RunResponse(phone.Ctx, chromedp.SendKeys(chromedp.CSS(`#f-name`), "Ann’s phone"+kb.Enter)); err != nil {
		t.Fatal(err)
	}
	phone.Wait(`location.pathname === "/" && document.body.innerText.includes("rig nine")`)
	sound("the first screen")
	if n := browsertest.Eval[int](phone, `document.querySelectorAll('a[href="/devices"], a[href="/connect"]').length`); n != 0 {
		t.Errorf("%d links to what stays at the rig", n)
	}
	if c := browsertest.Eval[string](phone, `document.cookie`); c != "" {
		t.Errorf("scripts see the cookie: %s", c)
	}
	rig.Wait(`document.body.innerText.includes("Ann’s phone")`) // by itself
	rig.Check()
	phone.Check()
}

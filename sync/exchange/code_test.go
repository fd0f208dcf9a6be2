package exchange_test

import (
	"crypto/ed25519"
	"strings"
	"testing"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
)

func TestCodeIsReadAsPeopleTypeIt(t *testing.T) {
	pub, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for range 50 {
		c, err := exchange.NewCode(pub)
		if err != nil {
			t.Fatal(err)
		}
		text := c.String()
		if len(text) != 47 || seen[text] || strings.ContainsAny(text, "ILOU") {
			t.Fatalf("code %q", text)
		}
		seen[text] = true
		misread := strings.NewReplacer("0", "o", "1", "l").Replace(strings.ToLower(text))
		for _, typed := range []string{text, strings.ToLower(text), strings.ReplaceAll(text, "-", ""), " " + strings.ReplaceAll(text, "-", " ") + "\n", strings.ReplaceAll(text, "-", " – "), strings.ReplaceAll(text, "-", "\u00a0"), misread} {
			got, err := exchange.ParseCode(typed)
			if err != nil || got != c {
				t.Fatalf("%q: %v, %v, want %v", typed, got, err, c)
			}
		}
		if c.Server != exchange.Fingerprint(pub) {
			t.Error("the code carries another server")
		}
	}
	for _, bad := range []string{"", "12345", strings.Repeat("0", 39), strings.Repeat("0", 41), strings.Repeat("U", 40), "héllo"} {
		if _, err := exchange.ParseCode(bad); problem.Of(err) != problem.Invalid {
			t.Errorf("%q: %v, want invalid", bad, err)
		}
	}
}

// A local lab follows from the key, and carries version and variant bits of
// RFC 9562 (version 8).
func TestLocalLabFollowsFromTheKey(t *testing.T) {
	a, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	id := exchange.LocalLab(a)
	if id != exchange.LocalLab(a) || id == exchange.LocalLab(b) {
		t.Error("not a function of the key alone")
	}
	if id.Version() != 8 || id.Variant().String() != "RFC4122" {
		t.Errorf("version %v, variant %v", id.Version(), id.Variant())
	}
}

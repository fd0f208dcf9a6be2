package page_test

import (
	"bytes"
	"errors"
	"math"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/web/page"
	"thudbook/web/page/pagetest"
)

func render(t *testing.T, p page.Page) string {
	t.Helper()
	var b bytes.Buffer
	if err := page.Render(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What holds for every screen in every state.
func TestEveryScreen(t *testing.T) {
	ids := regexp.MustCompile(` id="([^"]*)"`)
	fors := regexp.MustCompile(` (?:for|list)="([^"]*)"`)
	names := map[string]bool{}
	for _, item := range pagetest.Gallery() {
		if names[item.Name] {
			t.Errorf("two items are named %s", item.Name)
		}
		names[item.Name] = true
		html := render(t, item.Page)
		for text, want := range map[string]int{
			"<h1>": 1, "<main": 1, `<html lang="en">`: 1,
			"It never fires a ram, is no safety device, no certification and no medical advice.": 1,
			"style=": 0, "<style": 0, "javascript:": 0, " onclick": 0, "ZgotmplZ": 0, "NaN": 0, "-0.0": 0, "&lt;nil": 0, "%!": 0, "http-equiv": 0,
		} {
			if n := strings.Count(html, text); n != want {
				t.Errorf("%s: %q stands %d times, want %d", item.Name, text, n, want)
			}
		}
		if m := regexp.MustCompile(`<script[^>]*>[^<]`).FindString(html); m != "" {
			t.Errorf("%s: a script in the page: %s", item.Name, m)
		}
		seen := map[string]bool{}
		for _, m := range ids.FindAllStringSubmatch(html, -1) {
			if seen[m[1]] {
				t.Errorf("%s: id %q stands twice", item.Name, m[1])
			}
			seen[m[1]] = true
		}
		for _, m := range fors.FindAllStringSubmatch(html, -1) {
			if !seen[m[1]] {
				t.Errorf("%s: nothing has the id %q", item.Name, m[1])
			}
		}
	}
}

// Every template is shown by the gallery, so that none escapes the checks.
func TestGalleryShowsEveryTemplate(t *testing.T) {
	files, err := filepath.Glob("templates/screens/*.html")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	unused := map[string]bool{}
	for _, f := range files {
		unused[strings.TrimSuffix(filepath.Base(f), ".html")] = true
	}
	for _, item := range pagetest.Gallery() {
		delete(unused, page.ScreenName(item.Page))
	}
	for name := range unused {
		t.Errorf("no item of the gallery shows the screen %s", name)
	}
}

// What comes from outside is text, wherever it stands.
func TestHostileText(t *testing.T) {
	const bad = `"><script>alert(1)</script><a href='javascript:x'>`
	row := page.ShotRow{ID: bad, Specimen: bad, Location: bad, Lab: bad, Flags: []page.Flag{{Code: bad, Channel: bad, Text: bad}}}
	form := page.Form{Action: page.AssignPath(bad), Fields: page.AssignFields("kPa"), Key: bad, Values: map[string]string{"specimen": bad}, Errors: map[string]string{"specimen": bad}, Choices: map[string][]page.Choice{"specimen": {{Value: bad, Text: bad}}}}
	for _, p := range []page.Page{
		page.Shots{Rows: []page.ShotRow{row}, Filter: page.ShotFilter{Specimen: bad}},
		page.ToAssign{Rows: []page.AssignRow{{Shot: row, File: bad, Missing: []string{bad}, Form: form}}},
		page.Quarantine{Rows: []page.QuarantineRow{{ID: bad, File: bad, Error: page.FileError{What: bad, Channel: bad, Fix: bad}}}},
		page.Problem{Frame: page.Frame{Title: bad, Place: bad}, What: bad, Where: bad, Fix: bad},
		page.Shot{ID: bad, Source: page.SourceFile{Name: bad, Href: "javascript:alert(1)"}, Map: page.MapUsed{Text: bad}, Flags: row.Flags},
	} {
		html := render(t, p)
		if strings.Contains(html, "<script>alert") || strings.Contains(html, `href="javascript:`) || strings.Contains(html, "<a href='javascript") {
			t.Errorf("%T lets text from outside become markup", p)
		}
	}
}

// The screen of a shot says everything that the file's reader and the operator
// must know; the values are those of the gallery.
func TestShotSays(t *testing.T) {
	for _, item := range pagetest.Gallery() {
		if item.Name != "shot-error" {
			continue
		}
		html := render(t, item.Page)
		for _, text := range []string{
			"98.1", "±&nbsp;2.4", "“12,3,4” is not a number.", "line 4012, column 4, channel az", "Check the cable",
			`href="/manual/flags#flag-saturated"`, "3 samples at full scale", "guessed", "typed", strings.Repeat("3f9c", 16), "Download the original",
			`action="/shots/x/assign"`, `value="5,5o"`, `aria-invalid="true"`, `aria-describedby="ax-target_speed_m_s-error"`, "rad/s²", "channel wz is dead",
			`data-traces="/shots/019571b2-7c3d-7a10-9d3e-000000000012/traces.bin"`, `role="img" aria-label="Largest values.`,
		} {
			if !strings.Contains(html, text) {
				t.Errorf("the screen does not say %q", text)
			}
		}
		return
	}
	t.Fatal("the gallery has no item shot-error")
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		got  page.Number
		want page.Number
	}{
		{page.Show(98.14, "g"), page.Number{Text: "98.1", Unit: "g"}},
		{page.Show(-0.04, "g"), page.Number{Text: "0.0", Unit: "g"}},
		{page.Show(-12.34, "m/s"), page.Number{Text: "\u221212.34", Unit: "m/s"}},
		{page.Show(261.7, "HIC"), page.Number{Text: "262"}},
		{page.Show(4180.4, "rad/s2"), page.Number{Text: "4180", Unit: "rad/s²"}},
		{page.Show(math.NaN(), "g"), page.Number{Unit: "g", Missing: "could not be computed"}},
		{page.ShowUncertain(98.1, 2.36, "g"), page.Number{Text: "98.1", Unit: "g", Uncertainty: "2.4"}},
		// JCGM 100:2008, 7.2.6: y = 10.057 62 Ω with uc = 27 mΩ is rounded to 10.058 Ω.
		{page.ShowUncertain(10.05762, 0.027, ""), page.Number{Text: "10.058", Uncertainty: "0.027"}},
		{page.ShowUncertain(5.5, 0.003, "m/s"), page.Number{Text: "5.5000", Unit: "m/s", Uncertainty: "0.0030"}},
		{page.ShowUncertain(0, 0.00002, ""), page.Number{Text: "0.000000", Uncertainty: "0.000020"}},
		{page.ShowUncertain(0.5, 2e-9, ""), page.Number{Text: "0.500000", Uncertainty: "0.000001"}},
		{page.ShowUncertain(5.5, 0.0996, "m/s"), page.Number{Text: "5.50", Unit: "m/s", Uncertainty: "0.10"}},
		{page.ShowUncertain(4183, 234, "rad/s2"), page.Number{Text: "4180", Unit: "rad/s²", Uncertainty: "230"}},
		{page.ShowUncertain(-4183, 996, "rad/s2"), page.Number{Text: "\u22124200", Unit: "rad/s²", Uncertainty: "1000"}},
		{page.ShowUncertain(5.5, 0, "m/s"), page.Number{Text: "5.50", Unit: "m/s"}},
		{page.Show(21.46, "°C"), page.Number{Text: "21.5", Unit: "°C"}},
		{page.ShowWhole(89.6, "s"), page.Number{Text: "90", Unit: "s"}},
		{page.ShowWhole(math.NaN(), "s"), page.Number{Unit: "s", Missing: "could not be computed"}},
		{page.ShowUncertain(5.5, math.Inf(1), "m/s"), page.Number{Text: "5.50", Unit: "m/s"}},
	} {
		if c.got != c.want {
			t.Errorf("%+v, want %+v", c.got, c.want)
		}
	}
	for got, want := range map[string]string{
		page.ShowCount(1204): "1\u202f204", page.ShowCount(-1_000_000): "\u22121\u202f000\u202f000", page.ShowCount(7): "7",
		page.ShowBytes(999): "999\u00a0B", page.ShowBytes(1000): "1.0\u00a0kB", page.ShowBytes(999_999): "1.0\u00a0MB", page.ShowBytes(182_000_000_000): "182\u00a0GB",
		page.ShowAge(47 * time.Hour): "47\u00a0h", page.ShowAge(49 * time.Hour): "2\u00a0days", page.ShowAge(-time.Hour): "a moment",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestTyped(t *testing.T) {
	got := page.Typed(url.Values{"name": {"  r.example "}, "password": {" with spaces "}, "role": {"administrator"}}, page.SignInFields())
	if got["name"] != "r.example" || got["password"] != " with spaces " || len(got) != 2 {
		t.Errorf("%q", got)
	}
	// A password is never sent back.
	html := render(t, page.SignIn{Form: page.Form{Fields: page.SignInFields(), Values: got}})
	if strings.Contains(html, "with spaces") {
		t.Error("the password stands in the page")
	}
}

// A page that cannot be rendered sends nothing, not half of itself.
func TestNothingHalf(t *testing.T) {
	var b bytes.Buffer
	if err := page.Render(&b, page.Shot{}); err != nil || b.Len() == 0 {
		t.Errorf("the zero value of a screen: %v, %d bytes", err, b.Len())
	}
	if err := page.Render(broken{}, page.Shot{}); !errors.Is(err, errBroken) {
		t.Errorf("err = %v, want the writer's", err)
	}
}

var errBroken = errors.New("reader went away")

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errBroken }

package manual_test

import (
	"html"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/limits"
	"thudbook/metrics/risk"
	"thudbook/metrics/score"
	"thudbook/sync/problem"
	"thudbook/web/manual"
	"thudbook/web/page"
)

func text(t *testing.T, name string, f page.Frame, more ...manual.Flag) string {
	t.Helper()
	p, err := manual.Page(name, f, more...)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := page.Render(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// Every flag of the computation, and those a program adds, can be looked up
// where the shot's screen links to.
func TestEveryFlagIsExplained(t *testing.T) {
	html := text(t, "flags", page.Frame{}, manual.Flag{Code: "clock_doubtful", Meaning: "m", Action: "a"})
	codes := []string{"clock_doubtful"}
	for _, f := range score.FlagTable() {
		codes = append(codes, string(f.Code))
	}
	for _, c := range codes {
		if n := strings.Count(html, `id="flag-`+c+`"`); n != 1 {
			t.Errorf("flag %s is explained %d times", c, n)
		}
	}
}

// Every constant, limit and published function stands in the manual with its
// source, and with what was not confirmed.
func TestNumbersNameTheirSources(t *testing.T) {
	got := text(t, "numbers", page.Frame{})
	plain := html.UnescapeString(got)
	for _, d := range limits.Definitions() {
		if !strings.Contains(got, `id="definition-`+d.ID+`"`) || !strings.Contains(plain, d.Source) || !strings.Contains(plain, d.Form) {
			t.Errorf("definition %s is not there", d.ID)
		}
	}
	for _, l := range limits.All() {
		if !strings.Contains(plain, l.Source) || !strings.Contains(plain, l.Note) {
			t.Errorf("limit %s is not there", l.ID)
		}
	}
	for _, f := range risk.Functions() {
		if !strings.Contains(got, `id="function-`+f.ID+`"`) || !strings.Contains(plain, f.IsNot) || !strings.Contains(plain, f.Authors) {
			t.Errorf("function %s is not there", f.ID)
		}
	}
	for _, id := range []string{"bric-2013", "hic-571.208"} {
		row := got[strings.Index(got, `id="definition-`+id+`"`):]
		row = row[:strings.Index(row, "</tr>")]
		d := limits.Define(id)
		if said := strings.Contains(row, limits.Unconfirmed); said == d.Confirmed() {
			t.Errorf("%s: confirmed %t, row %s", id, d.Confirmed(), row)
		}
	}
	// a result's key never stands for its name
	for _, key := range []string{"clip_3ms", "peak_linear_acceleration", "ric36", "rise_rate"} {
		if strings.Contains(got, key) {
			t.Errorf("the page shows the key %s", key)
		}
	}
}

// Every page of the table of contents renders and marks itself as current.
func TestPages(t *testing.T) {
	p, err := manual.Page("", page.Frame{AtRig: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Pages) != 14 {
		t.Errorf("%d pages", len(p.Pages))
	}
	for _, item := range p.Pages {
		name := strings.TrimPrefix(strings.TrimPrefix(item.Href, "/manual"), "/")
		html := text(t, name, page.Frame{})
		if !strings.Contains(html, `<a href="`+item.Href+`" aria-current="page">`) || !strings.Contains(html, "<h1>"+item.Text+"</h1>") {
			t.Errorf("page %q does not say that it is %q", name, item.Text)
		}
		if strings.Contains(html, `href="/assign"`) || strings.Contains(html, `href="/connect"`) {
			t.Errorf("page %q links to the agent's screens on the server", name)
		}
	}
	if !strings.Contains(text(t, "", page.Frame{AtRig: true}), `href="/assign"`) {
		t.Error("at the rig the first steps do not link to the screen")
	}
	for _, name := range []string{"files", "shots", "inspection"} {
		shown := text(t, name, page.Frame{})
		for _, raw := range []string{"{#", "{{", "```", "**", "](", "<!--", "| ---"} {
			if strings.Contains(shown, raw) {
				t.Errorf("page %q shows its source: %s", name, raw)
			}
		}
	}
	if _, err := manual.Page("../etc", page.Frame{}); problem.Of(err) != problem.NotFound {
		t.Errorf("unknown page: %v", err)
	}
}

// The map in the manual is one that the program takes.
func TestMapOfTheManual(t *testing.T) {
	shown := text(t, "files", page.Frame{})
	start := strings.Index(shown, `name = &#34;rig one`)
	if start < 0 {
		t.Fatal("the manual shows no map")
	}
	end := strings.Index(shown[start:], "</pre>")
	m, err := chanmap.Parse(strings.NewReader(html.UnescapeString(shown[start:start+end])), "manual")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range m.Channels {
		got = append(got, c.Column+" "+c.Measures)
	}
	if d := cmp.Diff([]string{"ax linear acceleration", "gate light gate"}, got); d != "" {
		t.Error(d)
	}
}

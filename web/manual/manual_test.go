package manual_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/chanmap"
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

// Every page of the table of contents renders and marks itself as current.
func TestPages(t *testing.T) {
	p, err := manual.Page("", page.Frame{AtRig: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Pages) != 6 {
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
	if _, err := manual.Page("../etc", page.Frame{}); problem.Of(err) != problem.NotFound {
		t.Errorf("unknown page: %v", err)
	}
}

// The map in the manual is one that the program takes.
func TestMapOfTheManual(t *testing.T) {
	html := text(t, "files", page.Frame{})
	start := strings.Index(html, `name = &#34;rig one`)
	if start < 0 {
		start = strings.Index(html, `name = "rig one`)
	}
	end := strings.Index(html[start:], "</pre>")
	m, err := chanmap.Parse(strings.NewReader(html[start:start+end]), "manual")
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

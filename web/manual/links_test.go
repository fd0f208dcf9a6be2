package manual_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"thudbook/web/manual"
	"thudbook/web/page"
	"thudbook/web/present"
)

// Every link of the manual, and of the screens, leads to a page or a screen that
// there is; and those to the manual to a place that stands there.
func TestLinks(t *testing.T) {
	whole, _ := words(t)
	front, err := manual.Page("", page.Frame{})
	if err != nil {
		t.Fatal(err)
	}
	drawn := map[string]string{}
	for _, item := range front.Pages {
		name := strings.TrimPrefix(strings.TrimPrefix(item.Href, "/manual"), "/")
		drawn[item.Href] = text(t, name, page.Frame{AtRig: true}, present.ManualFlags()...)
	}
	var files []string
	for _, pattern := range []string{"pages/*.md", "../page/templates/*.html", "../page/templates/screens/*.html"} {
		some, err := filepath.Glob(pattern)
		if err != nil || len(some) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(some), err)
		}
		files = append(files, some...)
	}
	n := 0
	link := regexp.MustCompile(`(?:\]\(|href=")(/[^)"{?]*)[)"]`)
	for _, p := range files {
		source, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range link.FindAllStringSubmatch(string(source), -1) {
			n++
			path, place, _ := strings.Cut(m[1], "#")
			body, ours := drawn[path]
			if !ours && !whole[path] {
				t.Errorf("%s links to %s, which is no page and no screen", p, path)
			}
			if ours && place != "" && !strings.Contains(body, `id="`+place+`"`) {
				t.Errorf("%s links to %s, where %q does not stand", p, path, place)
			}
		}
	}
	if n < 80 {
		t.Errorf("only %d links were followed", n)
	}
}

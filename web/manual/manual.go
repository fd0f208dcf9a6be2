// Package manual holds the pages that the programs serve as their manual:
// first steps, flags, files and channel maps, what the numbers mean and are
// not, cautions.
package manual

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"strings"
	"sync"

	"thudbook/metrics/limits"
	"thudbook/metrics/risk"
	"thudbook/metrics/score"
	"thudbook/sync/problem"
	"thudbook/web/page"
)

//go:embed pages/*.md tables/*.html
var files embed.FS

// Flag is one row of the table of flags.
type Flag struct {
	Code    string
	Meaning string // what was seen and what it does to the results
	Action  string // what to do about it
}

// content is what the tables are filled with.
type content struct {
	Flags []Flag
	// What others have printed, with its sources.
	Definitions []limits.Definition
	Limits      []limits.Limit
	Functions   []risk.Function
}

// chapter is one page: its name in the address and its title.
type chapter struct{ name, title string }

func chapters() []chapter {
	return []chapter{
		{"", "First steps"},
		{"shots", "A day of shots"},
		{"files", "Files and channel maps"},
		{"flags", "Flags"},
		{"numbers", "What the numbers mean, and are not"},
		{"rig", "The rig: what is mounted where"},
		{"inspection", "Inspections, specimens and the log"},
		{"baddays", "Bad days: what happens when"},
		{"equipment", "Looking after equipment"},
		{"network", "Server, network, and what is kept where"},
		{"people", "People at the rig"},
		{"programs", "For programs: the server’s API"},
		{"running", "Running it on the rig PC"},
		{"cautions", "Cautions"},
	}
}

// tables are those that are made from what the program itself computes with.
var tables = sync.OnceValues(func() (*template.Template, error) {
	return template.New("manual").Funcs(template.FuncMap{"name": page.MetricName, "names": metricNames}).ParseFS(files, "tables/*.html")
})

// metricNames are the screen's names of a definition's metrics, "hic15, hic36".
func metricNames(keys string) string {
	var names []string
	for _, k := range strings.Split(keys, ", ") {
		names = append(names, page.MetricName(k))
	}
	return strings.Join(names, "; ")
}

// Flags is the table of all flags that a shot can carry: those of the
// computation, then more.
func Flags(more ...Flag) []Flag {
	var all []Flag
	for _, f := range score.FlagTable() {
		all = append(all, Flag{Code: string(f.Code), Meaning: f.Meaning, Action: f.Action})
	}
	return append(all, more...)
}

// Page returns one page of the manual in the frame f; name is what stands
// after /manual/ in the address, empty for the first. more are flags that the
// program adds to those of the computation. An unknown name is a problem of
// code NotFound.
func Page(name string, f page.Frame, more ...Flag) (page.Manual, error) {
	m := page.Manual{Frame: f}
	file := ""
	for _, c := range chapters() {
		href := page.PathManual
		if c.name != "" {
			href += "/" + c.name
		}
		m.Pages = append(m.Pages, page.NavItem{Text: c.title, Href: href, Current: c.name == name})
		if c.name == name {
			m.Frame.Title = c.title
			file = c.name
		}
	}
	if name == "" {
		file = "first"
	}
	if file == "" {
		return m, problem.New(problem.NotFound, fmt.Sprintf("The manual has no page %q.", name), "Choose one from its first page.")
	}
	source, err := files.ReadFile("pages/" + file + ".md")
	if err != nil {
		return m, fmt.Errorf("manual page %q: %w", name, err)
	}
	filled := content{Flags(more...), limits.Definitions(), limits.All(), risk.Functions()}
	var b bytes.Buffer
	if err := draw(&b, source, f.AtRig, filled.table); err != nil {
		return m, fmt.Errorf("manual page %q: %w", name, err)
	}
	m.Body = page.Prose(b.String())
	return m, nil
}

// table draws one of the tables.
func (c content) table(name string) (string, error) {
	set, err := tables()
	if err != nil {
		return "", fmt.Errorf("tables of the manual: %w", err)
	}
	var b strings.Builder
	err = set.ExecuteTemplate(&b, name+".html", c)
	return b.String(), err
}

package page

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"strings"
	"sync"
)

// Prose is HTML from this program's own files (the manual), never from outside.
type Prose = template.HTML

//go:embed templates/*.html templates/screens/*.html
var files embed.FS

// templates holds one set per screen: the frame, the shared parts and the
// screen's own main part. They are parsed once, at the first page.
var templates = sync.OnceValues(func() (map[string]*template.Template, error) {
	base, err := template.New("base").Funcs(functions()).ParseFS(files, "templates/*.html")
	if err != nil {
		return nil, err
	}
	screens, err := fs.Glob(files, "templates/screens/*.html")
	if err != nil {
		return nil, err
	}
	set := make(map[string]*template.Template, len(screens))
	for _, file := range screens {
		t, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if _, err := t.ParseFS(files, file); err != nil {
			return nil, fmt.Errorf("screen %s: %w", file, err)
		}
		set[strings.TrimSuffix(path.Base(file), ".html")] = t
	}
	return set, nil
})

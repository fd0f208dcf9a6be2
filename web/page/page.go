// Package page holds the screens of agent and server: one struct per screen
// with ready-made text and numbers, and Render, which turns it into HTML.
//
// The structs are plain: whoever fills them decides what is true, this package
// decides only how it looks. Nothing here reads a store, a clock or a request.
// Text is escaped by html/template according to where it stands, so file names
// and messages from outside may be passed as they are.
package page

import (
	"bytes"
	"fmt"
	"io"
)

// A Page is one of the screen structs of this package, by pointer or value.
type Page interface {
	frame() Frame
	screen() string // name of the template that fills the main part
}

// Render writes the whole HTML document for p. The page is built in memory
// first, so that a failing template never sends half a page; the error is then
// the template's, or the writer's.
func Render(w io.Writer, p Page) error {
	set, err := templates()
	if err != nil {
		return fmt.Errorf("page templates: %w", err)
	}
	t := set[p.screen()]
	if t == nil {
		return fmt.Errorf("no template for screen %q", p.screen())
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "document", p); err != nil {
		return fmt.Errorf("render screen %q: %w", p.screen(), err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

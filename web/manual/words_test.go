package manual_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"html"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	md "github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	mdtext "github.com/yuin/goldmark/text"
)

// What the manual prints bold is a label of the program, word for word, so that
// it can be found on the screen: a button, a heading, an entry of the menu, a
// field, a state. What it quotes “like this”, from three words on, is part of a
// sentence of the program, where … stands for what differs from case to case.
func TestWordsOfTheScreens(t *testing.T) {
	whole, parts := words(t)
	pages, err := filepath.Glob("pages/*.md")
	if err != nil || len(pages) == 0 {
		t.Fatalf("%d pages: %v", len(pages), err)
	}
	labels := 0
	for _, p := range pages {
		source, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, label := range bold(source) {
			labels++
			if !whole[label] {
				t.Errorf("%s: no screen has the label %q", p, label)
			}
		}
		for _, m := range regexp.MustCompile(`“([^”]+)”`).FindAllStringSubmatch(string(source), -1) {
			if len(strings.Fields(m[1])) < 3 {
				continue
			}
			for piece := range strings.SplitSeq(m[1], "…") {
				piece = spaced(piece)
				if !slices.ContainsFunc(parts, func(s string) bool { return strings.Contains(s, piece) }) {
					t.Errorf("%s quotes %q, and no screen says %q", p, m[1], piece)
				}
			}
		}
	}
	if labels < 50 {
		t.Errorf("only %d labels were looked up", labels)
	}
}

// bold gives what a page prints bold, but cautions, which are sentences, and the
// terms of a list that explains them: first in their item, before a colon or comma.
func bold(source []byte) (out []string) {
	doc := goldmark.New(goldmark.WithExtensions(extension.Table)).Parser().Parse(mdtext.NewReader(source))
	_ = md.Walk(doc, func(n md.Node, entering bool) (md.WalkStatus, error) {
		e, ok := n.(*md.Emphasis)
		if !ok || !entering || e.Level != 2 {
			return md.WalkContinue, nil
		}
		s := plain(e, source)
		_, listed := e.Parent().Parent().(*md.ListItem)
		after, _ := e.NextSibling().(*md.Text)
		term := listed && e.PreviousSibling() == nil && after != nil && strings.ContainsAny(string(after.Value(source)[:1]), ":,")
		if !term && !strings.HasSuffix(s, ":") && !strings.HasSuffix(s, ".") {
			out = append(out, s)
		}
		return md.WalkSkipChildren, nil
	})
	return out
}

func plain(n md.Node, source []byte) string {
	var b strings.Builder
	_ = md.Walk(n, func(n md.Node, entering bool) (md.WalkStatus, error) {
		if s, ok := n.(*md.Text); ok && entering {
			b.Write(s.Value(source))
		}
		return md.WalkContinue, nil
	})
	return spaced(html.UnescapeString(b.String()))
}

func spaced(s string) string { return strings.Join(strings.Fields(s), " ") }

// words gives the texts of the screens: whole is each run of text in a template
// and each text constant of the programs, parts the same to look into.
func words(t *testing.T) (whole map[string]bool, parts []string) {
	t.Helper()
	whole = map[string]bool{}
	add := func(s string) {
		if s = spaced(html.UnescapeString(s)); s != "" && !whole[s] {
			whole[s] = true
			parts = append(parts, s)
		}
	}
	action, tag := regexp.MustCompile(`(?s){{.*?}}`), regexp.MustCompile(`(?s)<[^>]*>`)
	inJS := regexp.MustCompile("\"[^\"\n]*\"|'[^'\n]*'|`[^`]*`")
	for _, root := range []string{"..", "../../agent", "../../server", "../../sync", "../../metrics/score"} {
		err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case e.IsDir() && slices.Contains([]string{"node_modules", "dist", "pagetest", "browsertest", "manual", "trial"}, e.Name()):
				return fs.SkipDir
			case e.IsDir() || strings.HasSuffix(path, "_test.go"):
				return nil
			}
			switch filepath.Ext(path) {
			case ".html", ".js":
				b, err := os.ReadFile(path)
				if err != nil {
					return err
				}
				if filepath.Ext(path) == ".js" {
					for _, s := range inJS.FindAllString(string(b), -1) {
						add(s[1 : len(s)-1])
					}
					return nil
				}
				for s := range strings.SplitSeq(tag.ReplaceAllString(action.ReplaceAllString(string(b), "\x00"), "\x00"), "\x00") {
					add(s)
				}
			case ".go":
				f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
				if err != nil {
					return err
				}
				ast.Inspect(f, func(n ast.Node) bool {
					if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
						if s, err := strconv.Unquote(l.Value); err == nil {
							add(s)
						}
					}
					return true
				})
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return whole, parts
}

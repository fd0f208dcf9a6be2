// Command mutate tests the tests: it takes out one sync, one comparison of
// hashes or one check of a sequence at a time, and runs the tests that reach it
// until one fails. What no test notices is listed, and the command then ends
// with 1. The working tree is not touched, and may change meanwhile.
package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// kind is what a mutant lacks.
type kind string

const (
	kindSync     kind = "sync"
	kindHash     kind = "hash"
	kindSequence kind = "sequence"
)

// site is a place in the source that can be taken out.
type site struct {
	number   int // from 1, over all folders
	kind     kind
	pkg      string // the package's name
	file     string
	line     int
	from, to int // bytes of the file
	was      string
	equality bool // a comparison by ==
}

// id names a site for people.
func (s *site) id() string { return fmt.Sprintf("%s:%d %s: %s", s.file, s.line, s.kind, s.was) }

// folders are looked through, below the root of the module.
func folders() []string {
	return []string{"sync/ledger", "sync/record", "sync/receipt", "sync/exchange", "sync/blob/dirblob", "sync/kv/boltkv", "sync/node", "sync/care", "sync/durable"}
}

// syncs are the calls that make something durable.
func syncs() []string {
	return []string{"Sync", "syncFile", "SyncDir", "syncDir", "syncShard", "dataSync", "Fdatasync"}
}

// findSites lists the sites of all folders in a fixed order.
func findSites(root string) ([]site, error) {
	var all []site
	for _, folder := range folders() {
		names, err := fs.Glob(os.DirFS(root), folder+"/*.go")
		if err != nil {
			return nil, err
		}
		slices.Sort(names)
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") || strings.HasSuffix(name, "_other.go") || strings.HasSuffix(name, "_windows.go") {
				continue
			}
			src, err := os.ReadFile(filepath.Join(root, name))
			if err != nil {
				return nil, err
			}
			found, err := sitesOf(name, src)
			if err != nil {
				return nil, err
			}
			all = append(all, found...)
		}
	}
	for i := range all {
		all[i].number = i + 1
	}
	return all, nil
}

func sitesOf(name string, src []byte) ([]site, error) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, name, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var all []site
	add := func(n ast.Node, k kind, equality bool) {
		from, to := set.Position(n.Pos()), set.Position(n.End())
		all = append(all, site{kind: k, pkg: f.Name.Name, file: name, line: from.Line, from: from.Offset, to: to.Offset,
			was: oneLine(src[from.Offset:to.Offset]), equality: equality})
	}
	var visit func(ast.Node) bool
	visit = func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ForStmt: // how far a loop goes is no check
			ast.Inspect(n.Body, visit)
			return false
		case *ast.CallExpr:
			if slices.Contains(syncs(), calledName(n)) {
				add(n, kindSync, false)
				return false
			}
		case *ast.BinaryExpr:
			text := print(set, n)
			if k, ok := checkKind(n, text); ok {
				add(n, k, n.Op == token.EQL)
			}
		}
		return true
	}
	ast.Inspect(f, visit)
	return all, nil
}

func calledName(c *ast.CallExpr) string {
	switch f := c.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		return f.Sel.Name
	}
	return ""
}

// checkKind tells whether a comparison is one of hashes or of sequence numbers.
func checkKind(n *ast.BinaryExpr, text string) (kind, bool) {
	switch n.Op {
	case token.EQL, token.NEQ, token.LSS, token.GTR, token.LEQ, token.GEQ:
	default:
		return "", false
	}
	for _, x := range []ast.Expr{n.X, n.Y} {
		switch x := x.(type) {
		case *ast.Ident:
			if x.Name == "nil" {
				return "", false
			}
		case *ast.CallExpr: // how many there are is no check of one
			if calledName(x) == "len" {
				return "", false
			}
		}
	}
	switch {
	case hashText().MatchString(text) && (n.Op == token.EQL || n.Op == token.NEQ):
		return kindHash, true
	case sequenceText().MatchString(text):
		return kindSequence, true
	}
	return "", false
}

func hashText() *regexp.Regexp {
	return regexp.MustCompile(`(?i)hash|sha256|\bprev\b|\.want\b|\bsum\b`)
}
func sequenceText() *regexp.Regexp {
	return regexp.MustCompile(`\b[sS]eq\b|\blast\b|[eE]poch\b|CompleteThrough|\bthrough\b`)
}

func print(set *token.FileSet, n ast.Node) string {
	var b bytes.Buffer
	if err := printer.Fprint(&b, set, n); err != nil {
		return ""
	}
	return b.String()
}

func oneLine(b []byte) string { return strings.Join(strings.Fields(string(b)), " ") }

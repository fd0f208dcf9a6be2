package lab_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"strconv"
	"strings"
	"testing"

	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// Every kind of fact has words of its own, without the marks of a name.
func TestEveryKindHasWords(t *testing.T) {
	words := map[string]record.Kind{}
	n := 0
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		if name := entry.Name(); !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), entry.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(node ast.Node) bool {
			spec, ok := node.(*ast.ValueSpec)
			if !ok || len(spec.Values) != 1 || !strings.HasPrefix(spec.Names[0].Name, "Kind") {
				return true
			}
			lit, ok := spec.Values[0].(*ast.BasicLit)
			if !ok {
				return true
			}
			text, err := strconv.Unquote(lit.Value)
			if err != nil {
				t.Fatal(err)
			}
			n++
			k := record.Kind(text)
			w := lab.KindWords(k)
			if other, twice := words[w]; twice || strings.ContainsAny(w, "._") {
				t.Errorf("%s is called %q (as %s)", k, w, other)
			}
			words[w] = k
			found := false
			for _, x := range lab.Kinds() {
				found = found || x == k
			}
			if !found {
				t.Errorf("%s has no words", k)
			}
			return true
		})
	}
	if n != len(lab.Kinds()) || n < 35 {
		t.Errorf("%d kinds in the sources, %d with words", n, len(lab.Kinds()))
	}
}

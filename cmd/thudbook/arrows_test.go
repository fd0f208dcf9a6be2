package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// rank gives the order of the top folders: a folder may import its own packages
// and those of a lower rank.
var rank = map[string]int{"metrics": 0, "sync": 1, "web": 2, "agent": 3, "server": 3, "cmd": 4}

// allowedTop is everything that may stand at the top of the repository.
var allowedTop = []string{"cmd", "server", "agent", "sync", "metrics", "web", "testdata", "deploy",
	"go.mod", "go.sum", "README.md", "DEVELOPERS.md", "Makefile"}

type listedPackage struct {
	ImportPath string
	Name       string
	Dir        string
	Imports    []string
	GoFiles    []string
}

func packages(t *testing.T) []listedPackage {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "list", "-json=ImportPath,Name,Dir,Imports,GoFiles", "thudbook/...")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var all []listedPackage
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listedPackage
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	if len(all) < 10 {
		t.Fatalf("go list gave %d packages, want the whole module", len(all))
	}
	return all
}

func topFolder(importPath string) string {
	rest := strings.TrimPrefix(importPath, "thudbook/")
	top, _, _ := strings.Cut(rest, "/")
	return top
}

func TestImportArrows(t *testing.T) {
	for _, p := range packages(t) {
		from := topFolder(p.ImportPath)
		if _, ok := rank[from]; !ok {
			t.Errorf("%s: folder %q has no place in the order", p.ImportPath, from)
		}
		for _, i := range p.Imports {
			if !strings.HasPrefix(i, "thudbook/") {
				continue
			}
			if to := topFolder(i); to != from && rank[to] >= rank[from] {
				t.Errorf("%s imports %s: the arrow points the wrong way", p.ImportPath, i)
			}
		}
	}
}

func TestPackageNames(t *testing.T) {
	forbidden := []string{"sync", "util", "utils", "common", "helper", "helpers", "metrics", "http", "errors", "log", "context", "template"}
	for _, p := range packages(t) {
		if slices.Contains(forbidden, p.Name) {
			t.Errorf("%s: a package must not be called %s", p.ImportPath, p.Name)
		}
		if p.ImportPath == "thudbook/sync" || p.ImportPath == "thudbook/metrics" {
			t.Errorf("%s: the folder holds packages, no Go file of its own", p.ImportPath)
		}
		for _, i := range p.Imports {
			if i == "testing" && !strings.HasSuffix(p.Name, "test") {
				t.Errorf("%s imports testing: only packages ending in test may", p.ImportPath)
			}
		}
	}
}

// TestUnsafeMiddlewares keeps three parts of echo v4.16.0 out: two have published
// advisories (CVE-2026-118260, CVE-2026-118261), and no folder of the disk is served.
func TestUnsafeMiddlewares(t *testing.T) {
	for _, p := range packages(t) {
		for _, f := range p.GoFiles {
			b, err := os.ReadFile(filepath.Join(p.Dir, f))
			if err != nil {
				t.Fatal(err)
			}
			for _, word := range []string{"middleware.Decompress", "middleware.BodyDump", "middleware.Static", ".Static(", ".StaticFS("} {
				if strings.Contains(string(b), word) {
					t.Errorf("%s/%s uses %s", p.ImportPath, f, word)
				}
			}
		}
	}
}

func TestTopLevel(t *testing.T) {
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if n := e.Name(); !strings.HasPrefix(n, ".") && n != "bin" && n != "thudbook" && !slices.Contains(allowedTop, n) {
			t.Errorf("%s must not stand at the top of the repository", n)
		}
	}
}

package main

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every kind of site is found where it is known to be, and what is left of the
// file is Go. Whether the tests notice is what the command is for.
func TestSitesAreFound(t *testing.T) {
	root, err := moduleRoot(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	sites, err := findSites(root)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]int{}
	for i := range sites {
		s := &sites[i]
		found[s.file+" "+string(s.kind)]++
		src, err := os.ReadFile(filepath.Join(root, s.file))
		if err != nil {
			t.Fatal(err)
		}
		changed := s.mutated(src)
		if _, err := parser.ParseFile(token.NewFileSet(), s.file, changed, parser.AllErrors); err != nil || string(changed) == string(src) {
			t.Errorf("%s: changed source: %v", s.id(), err)
		}
	}
	for _, want := range []string{"sync/ledger/anchor.go sync", "sync/blob/dirblob/put.go sync", "sync/kv/boltkv/create.go sync", "sync/node/node.go sync",
		"sync/record/chain.go hash", "sync/record/chain.go sequence", "sync/exchange/own.go hash", "sync/ledger/own.go sequence"} {
		if found[want] == 0 {
			t.Errorf("no site: %s", want)
		}
	}
	for _, e := range equals() { // an entry that names no site, or more than one, hides something
		n := 0
		for i := range sites {
			if sites[i].file == e.file && sites[i].was == e.was {
				n++
			}
		}
		if n != 1 || e.why == "" {
			t.Errorf("%s, %s: %d sites, because %q", e.file, e.was, n, e.why)
		}
	}
	t.Logf("%d sites in %d places", len(sites), len(found))
}

func TestASiteIsTakenOut(t *testing.T) {
	src := "package p\n\nfunc f(a, b uint64) bool { return a != b+1 }\nfunc g(seq, last uint64) bool { return seq != last+1 && d.Sync() == nil }\n"
	sites, err := sitesOf("p.go", []byte(src))
	if err != nil || len(sites) != 2 {
		t.Fatalf("%d sites, %v, want 2: %+v", len(sites), err, sites)
	}
	for i, want := range []string{"return (false && seq != last+1) && d.Sync()", "&& func(...any) error { return nil }(d.Sync) == nil"} {
		if got := string(sites[i].mutated([]byte(src))); !strings.Contains(got, want) {
			t.Errorf("site %d gives\n%s", i, got)
		}
	}
}

// What is taken out still uses what it used: imports, variables and values.
func TestWhatIsTakenOutIsStillUsed(t *testing.T) {
	for was, want := range map[string]string{
		"syncDir(filepath.Dir(path))":   "func(...any) error { return nil }(filepath.Dir(path))",
		"unix.Fdatasync(int(f.Fd()))":   "func(...any) error { return nil }(unix.Fdatasync, int(f.Fd()))",
		"u.f.Sync()":                    "func(...any) error { return nil }(u.f)",
		"s.syncShard(path, func() { })": "func(...any) error { return nil }(s.syncShard, path, func() {})",
	} {
		src := []byte("package p\n\nfunc g() error { return " + was + " }\n")
		sites, err := sitesOf("p.go", src)
		if err != nil || len(sites) != 1 || sites[0].after != want {
			t.Errorf("%s becomes %+v, %v, want %s", was, sites, err, want)
		}
	}
}

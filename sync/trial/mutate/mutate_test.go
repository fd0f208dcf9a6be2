package main

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
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
		changed := switched(src, []*site{s})
		if _, err := parser.ParseFile(token.NewFileSet(), s.file, changed, parser.AllErrors); err != nil || string(changed) == string(src) {
			t.Errorf("%s: changed source: %v", s.id(), err)
		}
		if s.number != i+1 {
			t.Errorf("%s has number %d, want %d", s.id(), s.number, i+1)
		}
	}
	for _, want := range []string{"sync/ledger/anchor.go sync", "sync/blob/dirblob/put.go sync", "sync/kv/boltkv/create.go sync", "sync/durable/durable.go sync", "sync/durable/other.go sync",
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

// All sites of a file can be taken out, one at a time, from one changed file.
func TestSitesAreSwitched(t *testing.T) {
	src := "package p\n\nfunc f(a, b uint64) bool { return a != b+1 }\nfunc g(seq, last uint64) bool { return seq != last+1 && d.Sync() == nil }\n" +
		"func h() bool { return (x.Seq == 0) == (y.Hash == z.Hash) }\n"
	found, err := sitesOf("p.go", []byte(src))
	if err != nil || len(found) != 5 {
		t.Fatalf("%d sites, %v, want 5: %+v", len(found), err, found)
	}
	var sites []*site
	for i := range found {
		found[i].number = i + 1
		sites = append(sites, &found[i])
	}
	got := string(switched([]byte(src), sites))
	want := "package p\n\nfunc f(a, b uint64) bool { return a != b+1 }\n" +
		"func g(seq, last uint64) bool { return (!mutantIs(1) && seq != last+1) && func() error { if mutantIs(2) { return nil }; return d.Sync() }() == nil }\n" +
		"func h() bool { return (mutantIs(3) || ((mutantIs(4) || x.Seq == 0)) == ((mutantIs(5) || y.Hash == z.Hash))) }\n"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// What a run of a test says is put into few words, and a test that does not end
// counts as one that fails.
func TestReasonOfAFailure(t *testing.T) {
	for out, want := range map[string]string{
		"--- FAIL: TestX (0.00s)\n    x_test.go:7: lost a record\nFAIL\n": "x_test.go:7: lost a record",
		"panic: test timed out after 1m0s\nrunning tests:\n":              "did not end",
		"panic: index out of range\n\ngoroutine 1\n/x/y.go:3\n":           "panic: index out of range",
		"": "the run ended with an error",
	} {
		if got := reason([]byte(out)); got != want {
			t.Errorf("%q gives %q, want %q", out, got, want)
		}
	}
}

package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
)

// The one build holds every mutant: each site asks whether it is the one that
// is taken out, which the environment says when a run starts. So nothing is
// compiled again from one mutant to the next.
const (
	envMutant = "THUDBOOK_MUTANT" // the number of the site that is taken out
	envReach  = "THUDBOOK_REACH"  // a file to which each site that is reached adds its number
)

// switchFile is added to every package that has a site.
const switchFile = `package %s

import (
	"os"
	"strconv"
	"sync"
)

var (
	mutantOn, _ = strconv.Atoi(os.Getenv("` + envMutant + `"))
	reachFile   = os.Getenv("` + envReach + `")
	reachedOnce sync.Map
)

// mutantIs tells whether site n is the one that is taken out.
func mutantIs(n int) bool {
	if reachFile != "" {
		if _, known := reachedOnce.LoadOrStore(n, true); !known {
			f, err := os.OpenFile(reachFile, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
			if err == nil {
				_, err = f.WriteString(strconv.Itoa(n) + "\n")
				_ = f.Close()
			}
			if err != nil { // the test makes calls fail; the next time then
				reachedOnce.Delete(n)
			}
		}
	}
	return n == mutantOn
}
`

// instrument writes changed copies of all files with sites below dir, and the
// overlay that lets the go command read them instead.
func instrument(root, dir string, sites []site) (overlay string, err error) {
	replace := map[string]string{}
	byFile := map[string][]*site{}
	packages := map[string]string{} // folder to package name
	for i := range sites {
		byFile[sites[i].file] = append(byFile[sites[i].file], &sites[i])
		packages[filepath.Dir(sites[i].file)] = sites[i].pkg
	}
	write := func(name string, content []byte) error {
		to := filepath.Join(dir, strconv.Itoa(len(replace))+".go")
		replace[filepath.Join(root, name)] = to
		return os.WriteFile(to, content, 0o600)
	}
	for file, here := range byFile {
		src, err := os.ReadFile(filepath.Join(root, file))
		if err != nil {
			return "", err
		}
		if err := write(file, switched(src, here)); err != nil {
			return "", err
		}
	}
	for folder, name := range packages {
		if err := write(filepath.Join(folder, "zz_mutant.go"), fmt.Appendf(nil, switchFile, name)); err != nil {
			return "", err
		}
	}
	b, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", err
	}
	overlay = filepath.Join(dir, "overlay.json")
	return overlay, os.WriteFile(overlay, b, 0o600)
}

// switched gives a file in which each site can be taken out. What is put in
// stands on the site's own lines, so that places in messages stay right.
func switched(src []byte, sites []*site) []byte {
	type piece struct {
		at, inner int // of two at one place, ends of inner sites come first, and starts of outer ones
		text      string
	}
	var pieces []piece
	for _, s := range sites {
		before, after := s.around()
		pieces = append(pieces, piece{s.from, -(s.to - s.from), before}, piece{s.to, s.to - s.from - len(src), after})
	}
	slices.SortStableFunc(pieces, func(a, b piece) int {
		if a.at != b.at {
			return a.at - b.at
		}
		return a.inner - b.inner
	})
	var out []byte
	done := 0
	for _, p := range pieces {
		out = append(append(out, src[done:p.at]...), p.text...)
		done = p.at
	}
	return append(out, src[done:]...)
}

// around gives what stands before and after a site: a sync that is taken out
// does nothing and reports nothing, a comparison never objects.
func (s *site) around() (before, after string) {
	switch {
	case s.kind == kindSync:
		return fmt.Sprintf("func() error { if mutantIs(%d) { return nil }; return ", s.number), " }()"
	case s.equality:
		return fmt.Sprintf("(mutantIs(%d) || ", s.number), ")"
	default:
		return fmt.Sprintf("(!mutantIs(%d) && ", s.number), ")"
	}
}

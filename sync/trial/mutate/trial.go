package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// suites are the packages whose tests may notice a mutant.
func suites() []string {
	return []string{"sync/record", "sync/receipt", "sync/node", "sync/blob/dirblob", "sync/kv/boltkv", "sync/ledger", "sync/exchange",
		"sync/home", "sync/httppeer", "sync/trial/oldstore", "sync/trial/world", "sync/trial/crashimage", "sync/trial/strike", "sync/uplink", "server/enrol"}
}

// test is one top-level test in a built test program.
type test struct {
	pkg, name string
	took      time.Duration
	reaches   map[int]bool // numbers of sites
	anywhere  bool         // it cannot bear being watched: taken to reach all sites
	shaky     bool         // failed once without a mutant as well
}

func (t *test) String() string { return t.pkg + " " + t.name }

// bench holds the built test programs and what they take.
type bench struct {
	root, dir string
	env       []string
	tests     []*test
}

// build builds the program and all test programs with all mutants in them.
func build(ctx context.Context, root, dir, overlay string) (*bench, error) {
	b := &bench{root: root, dir: dir, env: append(os.Environ(), "THUDBOOK_SIM_SEEDS=30", "THUDBOOK_CRASH_SHOTS=60", "THUDBOOK_CRASH_IMAGES=300",
		"THUDBOOK_BIN="+filepath.Join(dir, "thudbook"))}
	if err := b.goTool(ctx, "build", "-overlay", overlay, "-o", filepath.Join(dir, "thudbook"), "./cmd/thudbook"); err != nil {
		return nil, err
	}
	for _, pkg := range suites() {
		if err := b.goTool(ctx, "test", "-c", "-vet=off", "-overlay", overlay, "-o", b.program(pkg), "./"+pkg); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func (b *bench) program(pkg string) string {
	return filepath.Join(b.dir, strings.ReplaceAll(pkg, "/", "-")+".test")
}

func (b *bench) goTool(ctx context.Context, args ...string) error {
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Dir = b.root
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("go %s: %w\n%s", strings.Join(args, " "), err, out)
	}
	return nil
}

// measure runs every test once without a mutant: it has to pass, or it would
// seem to notice everything, and tells which sites it reaches.
func (b *bench) measure(ctx context.Context) error {
	for _, pkg := range suites() {
		list := exec.CommandContext(ctx, b.program(pkg), "-test.list", "^Test")
		list.Dir = filepath.Join(b.root, pkg)
		out, err := list.Output()
		if err != nil {
			return fmt.Errorf("list the tests of %s: %w", pkg, err)
		}
		began, n := time.Now(), 0
		for _, name := range strings.Fields(string(out)) {
			t := &test{pkg: pkg, name: name}
			if err := b.reach(ctx, t); err != nil {
				return err
			}
			if t.anywhere || len(t.reaches) > 0 {
				b.tests, n = append(b.tests, t), n+1
			}
		}
		fmt.Printf("%s: %d tests reach a site, %.0f s\n", pkg, n, time.Since(began).Seconds())
	}
	slices.SortStableFunc(b.tests, func(x, y *test) int { return int(x.took - y.took) })
	return nil
}

func (b *bench) reach(ctx context.Context, t *test) error {
	file := filepath.Join(b.dir, "reach")
	if err := os.Remove(file); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	began := time.Now()
	failed, _, err := b.run(ctx, t, envReach+"="+file, 10*time.Minute)
	if err != nil {
		return err
	}
	if t.anywhere = failed; failed {
		began = time.Now()
		if failed, out, err := b.run(ctx, t, envMutant+"=0", 10*time.Minute); err != nil || failed {
			return fmt.Errorf("the unchanged source does not pass: %s: %w\n%s", t, err, out)
		}
	}
	t.took, t.reaches = time.Since(began), map[int]bool{}
	content, err := os.ReadFile(file)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	for _, word := range strings.Fields(string(content)) {
		n, err := strconv.Atoi(word)
		if err != nil {
			return err
		}
		t.reaches[n] = true
	}
	return nil
}

// run runs one test; not ending in time is a failure of it.
func (b *bench) run(ctx context.Context, t *test, env string, most time.Duration) (failed bool, out []byte, err error) {
	cmd := exec.CommandContext(ctx, b.program(t.pkg), "-test.run", "^"+t.name+"$", "-test.failfast", "-test.timeout", most.String())
	cmd.Dir = filepath.Join(b.root, t.pkg)
	cmd.Env = append(slices.Clone(b.env), env)
	cmd.WaitDelay = 10 * time.Second // a child that outlives a failed test must not hold its output open
	out, err = cmd.CombinedOutput()
	if ctx.Err() != nil {
		return false, out, ctx.Err()
	}
	var exit *exec.ExitError
	if errors.As(err, &exit) || errors.Is(err, exec.ErrWaitDelay) {
		return true, out, nil
	}
	return false, out, err
}

// notice runs the tests that reach a site, the quickest first, and names the
// one that fails with the mutant and passes without it.
func (b *bench) notice(ctx context.Context, s *site) (by string, reached int, err error) {
	for _, t := range b.tests {
		if !t.anywhere && !t.reaches[s.number] || t.shaky {
			continue
		}
		reached++
		failed, out, err := b.run(ctx, t, envMutant+"="+strconv.Itoa(s.number), time.Minute+10*t.took)
		if err != nil {
			return "", 0, err
		}
		if !failed {
			continue
		}
		again, _, err := b.run(ctx, t, envMutant+"=0", time.Minute+10*t.took)
		if err != nil {
			return "", 0, err
		}
		if t.shaky = again; again {
			fmt.Println("fails without a mutant too, left out from here on:", t)
			continue
		}
		return t.String() + ": " + reason(out), reached, nil
	}
	return "", reached, nil
}

// reason gives the first line that a failed test says for itself.
func reason(out []byte) string {
	for line := range bytes.Lines(out) {
		line = bytes.TrimSpace(line)
		switch {
		case bytes.HasPrefix(line, []byte("panic: test timed out")):
			return "did not end"
		case bytes.HasPrefix(line, []byte("panic:")) || bytes.HasPrefix(line, []byte("fatal error:")):
			return string(line)
		case bytes.Contains(line, []byte("_test.go:")) || bytes.Contains(line, []byte(".go:")):
			return string(line[:min(len(line), 160)])
		}
	}
	return "the run ended with an error"
}

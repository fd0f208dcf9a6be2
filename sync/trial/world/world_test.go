package world_test

import (
	"bytes"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"thudbook/sync/trial/world"
)

// play runs one seed in a bubble of its own.
func play(t *testing.T, o world.Options) (res world.Result, err error) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		o.Dir = dir(t)
		res, err = world.Run(t.Context(), o)
		if e := os.RemoveAll(o.Dir); e != nil {
			t.Error(e)
		}
	})
	return res, err
}

// dir gives a folder in memory where there is one: the disk is not on trial here.
func dir(t *testing.T) string {
	t.Helper()
	const memory = "/dev/shm"
	root := ""
	if fi, err := os.Stat(memory); err == nil && fi.IsDir() {
		root = memory
	}
	d, err := os.MkdirTemp(root, "thudbook-world-")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// number reads a setting from the environment.
func number(t *testing.T, name string, otherwise uint64) uint64 {
	t.Helper()
	s := os.Getenv(name)
	if s == "" {
		return otherwise
	}
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return n
}

func report(t *testing.T, seed uint64, res world.Result, err error) {
	t.Helper()
	t.Errorf("seed %d: %v\nthe last steps:\n%s\nplay it again with\n  THUDBOOK_SIM_SEED=%d go test ./sync/trial/world -run TestReplay -v",
		seed, err, strings.Join(res.Lines[max(0, len(res.Lines)-15):], "\n"), seed)
}

// TestSimulate plays many worlds. THUDBOOK_SIM_SEEDS says how many,
// THUDBOOK_SIM_FIRST from which seed on.
func TestSimulate(t *testing.T) {
	seeds, first := number(t, "THUDBOOK_SIM_SEEDS", defaultSeeds), number(t, "THUDBOOK_SIM_FIRST", 1)
	counts := map[string]int{}
	var mu sync.Mutex
	var next, failed atomic.Uint64
	t.Run("seeds", func(t *testing.T) {
		for i := range runtime.GOMAXPROCS(0) {
			t.Run(fmt.Sprint("worker", i), func(t *testing.T) {
				t.Parallel()
				for failed.Load() < 5 {
					n := next.Add(1)
					if n > seeds {
						return
					}
					res, err := play(t, world.Options{Seed: first + n - 1})
					if err != nil {
						failed.Add(1)
						report(t, first+n-1, res, err)
					}
					mu.Lock()
					for k, v := range res.Counts {
						counts[k] += v
					}
					mu.Unlock()
				}
			})
		}
	})
	if t.Failed() {
		return
	}
	t.Logf("%d seeds: %d records acknowledged by servers, %d worlds", seeds, counts["receipts"], counts["worlds"])
	happened(t, counts, seeds >= 40)
}

// happened fails the test if something that the worlds are for never came about
// in many of them.
func happened(t *testing.T, counts map[string]int, many bool) {
	t.Helper()
	for _, part := range []string{"request lost", "answer lost", "a second time", "late copy", "the server restarts", "truncated",
		"is copied to another machine ok", "the store alone", "without an anchor", "whole image", "was emptied", "clock goes to 1970", "clock goes to 2099",
		"disk full: true", "notice forked", "notice damaged", "two histories", "views compared", "chains whose end was carried over", "facts that every server has", "records during a session ok"} {
		n := 0
		for k, v := range counts {
			if strings.Contains(k, part) {
				n += v
			}
		}
		t.Logf("%8d × %s", n, part)
		if n == 0 && many {
			t.Errorf("in no world: %s", part)
		}
	}
}

// TestReplay plays THUDBOOK_SIM_SEED step by step.
func TestReplay(t *testing.T) {
	if os.Getenv("THUDBOOK_SIM_SEED") == "" {
		t.Skip("no THUDBOOK_SIM_SEED")
	}
	seed := number(t, "THUDBOOK_SIM_SEED", 0)
	res, err := play(t, world.Options{Seed: seed, Log: func(line string) { t.Log(line) }})
	if err != nil {
		report(t, seed, res, err)
	}
	t.Logf("trace %x", res.Trace)
}

// A seed that fails must fail again: the same seed gives the same history.
// THUDBOOK_SIM_TRACED says how many are played twice.
func TestOneSeedOneTrace(t *testing.T) {
	seen := map[string]bool{}
	traced := number(t, "THUDBOOK_SIM_TRACED", tracedSeeds)
	for seed := range traced {
		a, err1 := play(t, world.Options{Seed: seed})
		b, err2 := play(t, world.Options{Seed: seed})
		if !bytes.Equal(a.Trace[:], b.Trace[:]) || fmt.Sprint(err1) != fmt.Sprint(err2) {
			t.Errorf("seed %d: traces %x and %x, errors %v and %v", seed, a.Trace, b.Trace, err1, err2)
		}
		seen[string(a.Trace[:])] = true
	}
	if uint64(len(seen)) != traced {
		t.Errorf("%d seeds gave %d histories", traced, len(seen))
	}
}

// The checks must have teeth: on disks that forget their last commit at a
// restart, acknowledged records are lost, and that must be seen.
func TestLyingDisksAreNoticed(t *testing.T) {
	noticed := 0
	for seed := range uint64(10) {
		if _, err := play(t, world.Options{Seed: seed, Lying: true}); err != nil {
			noticed++
		}
	}
	if noticed < 9 {
		t.Errorf("noticed in %d of 10 worlds", noticed)
	}
}

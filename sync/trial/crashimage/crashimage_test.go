//go:build linux

package crashimage_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"

	"thudbook/sync/trial/crashimage"
)

// Set for the processes that the tests start.
const (
	workDir    = "THUDBOOK_CRASH_WORK"
	promiseDir = "THUDBOOK_CRASH_PROMISE"
	judgeAcks  = "THUDBOOK_CRASH_JUDGE"
	shotsName  = "THUDBOOK_CRASH_SHOTS"
)

func TestMain(m *testing.M) {
	ctx := context.Background()
	shots, err := strconv.Atoi(os.Getenv(shotsName))
	if err != nil {
		shots = 1
	}
	err = nil
	switch {
	case os.Getenv(endureDir) != "":
		err = crashimage.Endure(ctx, os.Getenv(endureDir), shots, os.Stdout)
	case os.Getenv(promiseDir) != "":
		err = crashimage.Promise(ctx, os.Getenv(promiseDir))
	case os.Getenv(workDir) != "":
		err = crashimage.Work(ctx, os.Getenv(workDir), shots)
	case os.Getenv(judgeAcks) != "":
		err = crashimage.Judge(ctx, os.Getenv(judgeAcks), os.Stdin, os.Stdout)
	default:
		os.Exit(m.Run())
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// number reads a setting from the environment.
func number(t *testing.T, name string, otherwise int) int {
	t.Helper()
	s := os.Getenv(name)
	if s == "" {
		return otherwise
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return n
}

// memory gives a folder that is in memory where there is one.
func memory(t *testing.T) string {
	t.Helper()
	root := ""
	if fi, err := os.Stat("/dev/shm"); err == nil && fi.IsDir() {
		root = "/dev/shm"
	}
	dir, err := os.MkdirTemp(root, "thudbook-crash-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// recorded runs the workload under strace.
func recorded(t *testing.T, mode string, shots int) (trace, root string) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Fatalf("the calls of the workload cannot be recorded: %v; .ci/need installs strace", err)
	}
	dir := memory(t)
	trace, root = filepath.Join(dir, "trace"), filepath.Join(dir, "data")
	if err := os.Mkdir(root, 0o700); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), strace, append(crashimage.StraceArgs(trace), os.Args[0])...)
	cmd.Env = append(os.Environ(), mode+"="+root, fmt.Sprintf("%s=%d", shotsName, shots), "GOMAXPROCS=1")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("the workload under strace: %v\n%s", err, out)
	}
	return trace, root
}

func judge(ctx context.Context, acks string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, os.Args[0])
	cmd.Env = append(os.Environ(), judgeAcks+"="+acks)
	cmd.Stderr = os.Stderr
	return cmd
}

// TestCrashImages cuts the power at random instants of a workload (invariants
// L1, L3, L7, L10). THUDBOOK_CRASH_IMAGES and THUDBOOK_CRASH_SHOTS set how often
// and of what; THUDBOOK_CRASH_SEED which cuts.
func TestCrashImages(t *testing.T) {
	shots, images := number(t, shotsName, 60), number(t, "THUDBOOK_CRASH_IMAGES", 300)
	trace, root := recorded(t, workDir, shots)
	o := crashimage.Options{Images: images, Seed: uint64(number(t, "THUDBOOK_CRASH_SEED", 1)), Scratch: memory(t),
		Workers: runtime.GOMAXPROCS(0), Judge: judge}
	run, err := crashimage.Load(trace, root, o)
	if err != nil {
		t.Fatal(err)
	}
	calls, syncs := run.Calls()
	if run.Acked() != shots || syncs < 4*shots {
		t.Fatalf("%d shots acknowledged, %d calls, %d of them syncs: the recording is not whole", run.Acked(), calls, syncs)
	}
	failures, err := run.Play(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range failures[:min(len(failures), 10)] {
		t.Errorf("cut after call %d, %d shots acknowledged: %v", f.Call, f.Acked, f.Err)
	}
	t.Logf("%d images of %d shots, %d calls, %d syncs: %d failed", images, shots, calls, syncs, len(failures))

	o.Deaf, o.Images = true, min(images, 200)
	run, err = crashimage.Load(trace, root, o)
	if err != nil {
		t.Fatal(err)
	}
	failures, err = run.Play(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("with syncs ignored %d of %d images failed", len(failures), o.Images)
	if len(failures) < o.Images/2 {
		t.Errorf("with syncs ignored only %d of %d images failed: the images prove nothing", len(failures), o.Images)
	}
}

// TestPromises cuts the power after every call of single steps: an identity, a
// new store, an attachment, one that was left half done, one in quarantine, a
// part of one, one that is erased, an anchor, a key, a compacted store, backups and what is made of
// them. No other sync covers for one that is missing (invariants L1, L7, L9).
func TestPromises(t *testing.T) {
	trace, root := recorded(t, promiseDir, 1)
	// Without syncs a removal survives a cut as often as not: three images of each
	// cut let the promise of what is gone pass one time in eight.
	for deaf, images := range map[bool]int{false: 3, true: 12} {
		f, err := os.Open(trace)
		if err != nil {
			t.Fatal(err)
		}
		promises, broken, err := crashimage.Kept(t.Context(), f, root, filepath.Join(memory(t), "backup"), images, deaf)
		if err := errors.Join(err, f.Close()); err != nil {
			t.Fatal(err)
		}
		if promises < 22 {
			t.Errorf("%d promises, want 22 or more", promises)
		}
		if !deaf && len(broken) > 0 {
			t.Errorf("not kept: %q", broken)
		}
		if deaf && len(broken) != promises {
			t.Errorf("with syncs ignored only %d of %d promises are broken: %q", len(broken), promises, broken)
		}
	}
}

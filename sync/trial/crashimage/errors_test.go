//go:build linux

package crashimage_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"

	"thudbook/sync/trial/crashimage"
)

const endureDir = "THUDBOOK_CRASH_ENDURE"

// injected runs a workload in which strace makes a call fail, and checks what is left.
func injected(t *testing.T, base, strace, calls, what string, when int, shots int) (hit bool) {
	t.Helper()
	dir, err := os.MkdirTemp(base, "data-")
	if err != nil {
		t.Error(err)
		return false
	}
	cmd := exec.CommandContext(t.Context(), strace, "-f", "-qq", "-o", os.DevNull, "--seccomp-bpf", "-e", "signal=none", "-e", "trace="+calls,
		"-e", fmt.Sprintf("inject=%s:error=%s:when=%d", calls, what, when), os.Args[0])
	cmd.Env = append(os.Environ(), endureDir+"="+dir, fmt.Sprintf("%s=%d", shotsName, shots), "GOMAXPROCS=1")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Errorf("%s at call %d of %s: %v\n%s", what, when, calls, err, out)
		return true
	}
	acked, err := crashimage.Check(t.Context(), dir)
	if err != nil || acked != shots {
		t.Errorf("%s at call %d of %s: %d of %d shots acknowledged, %v\n%s", what, when, calls, acked, shots, err, out)
	}
	return !bytes.Contains(out, []byte("endured 0 errors"))
}

// TestStorageErrors makes calls of a workload fail one by one: the error is
// told, nothing is acknowledged, and the work goes on when the disk is well
// again (invariants L1, L3, L6). THUDBOOK_DISK_ERRORS sets how many calls of
// each kind; the counts of strace are per thread.
func TestStorageErrors(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Fatalf("calls cannot be made to fail: %v; .ci/need installs strace", err)
	}
	last := number(t, "THUDBOOK_DISK_ERRORS", 0)
	for _, c := range []struct {
		calls, what string
		quick       []int
		full        int
	}{
		{"write,pwrite64", "ENOSPC", []int{1, 3, 9, 17, 31, 52}, 300},
		{"fdatasync,fsync", "EIO", []int{1, 2, 3, 5, 6, 7, 8, 13, 20}, 120},
		{"ftruncate", "ENOSPC", []int{1, 2}, 10},
		{"renameat,renameat2,linkat", "EIO", []int{1, 2, 3, 4}, 30},
		{"openat", "ENOSPC", []int{12, 17, 23, 31}, 60},
	} {
		t.Run(c.calls+" "+c.what, func(t *testing.T) {
			points, shots := c.quick, 12
			if last > 0 {
				points, shots = nil, 40
				for i := range min(last, c.full) {
					points = append(points, i+1)
				}
			}
			hits, base := 0, memory(t)
			var mu sync.Mutex
			var group sync.WaitGroup
			next := make(chan int)
			for range runtime.GOMAXPROCS(0) {
				group.Go(func() {
					for k := range next {
						if injected(t, base, strace, c.calls, c.what, k, shots) {
							mu.Lock()
							hits++
							mu.Unlock()
						}
					}
				})
			}
			for _, k := range points {
				next <- k
			}
			close(next)
			group.Wait()
			t.Logf("%d calls made to fail, %d of them were told as errors", len(points), hits)
			if hits == 0 && !strings.HasPrefix(c.calls, "ftruncate") {
				t.Error("no failure was told: nothing was put to the test")
			}
		})
	}
}

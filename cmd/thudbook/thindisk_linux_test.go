package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// thinDisk is a file system of 256 MB on a file that has room for far less: it
// says that it has room, and fails when the bytes are to be written.
type thinDisk struct{ below, image, at string }

// newThinDisk mounts one on 40 MB of memory. Where that is not allowed the test
// is left out, and says so.
func newThinDisk(t *testing.T) *thinDisk {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("NOT CHECKED: a disk that is thinner than it says; mounting one takes root and a loop device")
	}
	dir := t.TempDir()
	d := &thinDisk{below: filepath.Join(dir, "below"), at: filepath.Join(dir, "disk")}
	d.image = filepath.Join(d.below, "image")
	for _, p := range []string{d.below, d.at} {
		if err := os.Mkdir(p, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := syscall.Mount("tmpfs", d.below, "tmpfs", 0, "size=40m"); err != nil {
		t.Skipf("NOT CHECKED: a disk that is thinner than it says; memory cannot be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(d.below, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	f, err := os.Create(d.image)
	if err == nil {
		err = errors.Join(f.Truncate(256<<20), f.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mkfs.ext4", "-q", "-F", "-O", "^metadata_csum", d.image).CombinedOutput(); err != nil {
		t.Fatalf("mkfs.ext4: %v\n%s", err, out)
	}
	if out, err := d.mount(); err != nil {
		t.Skipf("NOT CHECKED: a disk that is thinner than it says; a file cannot be mounted here: %v %s", err, out)
	}
	t.Cleanup(func() { _ = syscall.Unmount(d.at, syscall.MNT_DETACH) }) // the test unmounted it where all went well
	return d
}

func (d *thinDisk) mount() (string, error) {
	out, err := exec.Command("mount", "-o", "loop", d.image, d.at).CombinedOutput()
	return string(out), err
}

// thin takes the room below until so much is left.
func (d *thinDisk) thin(t *testing.T, leave int64) {
	t.Helper()
	syscall.Sync()
	var fs syscall.Statfs_t
	if err := syscall.Statfs(d.below, &fs); err != nil {
		t.Fatal(err)
	}
	b := make([]byte, int64(fs.Bavail)*fs.Bsize-leave)
	if _, err := rand.Read(b); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(d.below, "filler"), b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// mend gives room below, and brings the disk back as after a repair.
func (d *thinDisk) mend(t *testing.T) {
	t.Helper()
	if err := os.Remove(filepath.Join(d.below, "filler")); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Unmount(d.at, 0); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("e2fsck", "-f", "-y", d.image).CombinedOutput()
	var code *exec.ExitError
	if err != nil && (!errors.As(err, &code) || code.ExitCode() > 2) { // 1 and 2: errors were mended
		t.Fatalf("e2fsck: %v\n%s", err, out)
	}
	if out, err := d.mount(); err != nil {
		t.Fatalf("mount: %v %s", err, out)
	}
}

// I1, I7: a disk that says it has room and has none. The agent says what the
// system said, acknowledges nothing more, and does not end; when the disk is
// mended, every shot that was acknowledged is there, and work goes on.
func TestThinDisk(t *testing.T) {
	d := newThinDisk(t)
	data := filepath.Join(d.at, "data")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0", "--reserve-mb", "1")
	acked := map[string]bool{}
	post := func(n int) string {
		t.Helper()
		id, said, err := tryPost(a.url(""), n)
		if err != nil {
			t.Fatalf("the agent ended: %v\n%s", err, a.out)
		}
		if id != "" {
			acked[id] = true
		}
		return said
	}
	for n := range 5 {
		if said := post(n); said != "" {
			t.Fatalf("with room: %s", said)
		}
	}
	d.thin(t, 1<<20)
	refused, last := 0, ""
	for n := 5; n < 3000 && refused < 5; n++ {
		if said := post(n); said != "" {
			refused++
			last = said
		}
	}
	if refused < 5 {
		t.Fatalf("%d shots were acknowledged, and the disk never failed: the test proves nothing", len(acked))
	}
	if !strings.Contains(last, "saved") && !strings.Contains(last, "stored") && !strings.Contains(last, "written") {
		t.Errorf("the last refusal says %s", last)
	}
	res, err := http.Get(a.url("/"))
	if err != nil {
		t.Fatal(err)
	}
	if page := body(t, res); !strings.Contains(page, "cannot be written") && !strings.Contains(page, "could not be stored") {
		t.Errorf("the screen does not say what is wrong\n%s", a.out)
	}
	if res, err = http.Get(a.url("/readyz")); err != nil || res.StatusCode == http.StatusOK {
		t.Errorf("the agent says that it is ready: %v, %v", res.Status, err)
	}
	body(t, res)
	t.Logf("%d shots acknowledged before it failed; then: %s", len(acked), last)
	_ = a.stop() // it may not be able to end in good order on such a disk
	d.mend(t)
	a = start(t, "agent", "--data", data, "--listen", "127.0.0.1:0", "--reserve-mb", "1")
	for id := range acked {
		if !hasShot(t, a, id) {
			t.Errorf("shot %s was acknowledged and is not there", id)
		}
	}
	for n, end := 5000, time.Now().Add(30*time.Second); ; n++ {
		said := post(n)
		if said == "" {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("after the repair: %s\n%s", said, a.out)
		}
		time.Sleep(50 * time.Millisecond)
	}
	if code := a.stop(); code != exitOK {
		t.Errorf("the agent ended with %d", code)
	}
	out, errOut, code := thudbook(t.Context(), t, "verify", "--data", data)
	if code != exitOK && code != exitForked { // a chain may have been closed, and says so
		t.Errorf("verify: %d\n%s%s", code, out, errOut)
	}
	if err := syscall.Unmount(d.at, 0); err != nil {
		t.Error(fmt.Errorf("unmount: %w", err))
	}
}

package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"thudbook/sync/home"
	"thudbook/web/picture/picturetest"
)

// sendPhoto posts a photo of a shot as the queue of a page does.
func sendPhoto(t *testing.T, a *process, shot string, photo []byte) (status int, said string) {
	t.Helper()
	r, w := io.Pipe()
	m := multipart.NewWriter(w)
	go func() { // ends with the request, which closes r
		err := m.WriteField("sha256", fmt.Sprintf("%x", sha256.Sum256(photo)))
		var part io.Writer
		if err == nil {
			part, err = m.CreateFormFile("photo", "weld.jpg")
		}
		if err == nil {
			_, err = part.Write(photo)
		}
		if err == nil {
			err = m.Close()
		}
		_ = w.CloseWithError(err)
	}()
	req, err := http.NewRequest(http.MethodPost, a.url("/shots/"+shot+"/photos"), r)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", m.FormDataContentType())
	req.Header.Set("Accept", "application/json")
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, body(t, res)
}

// mostMemory is the largest resident set that a process has had, in bytes: see
// proc(5), VmHWM.
func mostMemory(t *testing.T, pid int) int64 {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(b), "VmHWM:")
	kib, err := strconv.ParseInt(strings.Fields(rest + " ?")[0], 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	return kib << 10
}

// A photo of 40 MB goes to the disk as it comes: it takes less memory than half
// of it would.
func TestLargePhotoInLittleMemory(t *testing.T) {
	a := start(t, "agent", "--data", filepath.Join(t.TempDir(), "data"), "--listen", "127.0.0.1:0", "--reserve-mb", "1")
	id, said, err := tryPost(a.url(""), 1)
	if err != nil || id == "" {
		t.Fatalf("post: %v %s", err, said)
	}
	small := picturetest.JPEG(t, picturetest.Corners(400, 300), picturetest.Tags{}, 0)
	if status, said := sendPhoto(t, a, id, small); status != http.StatusCreated { // what drawing takes is counted before
		t.Fatalf("a small photo = %d %s", status, said)
	}
	before := mostMemory(t, a.Cmd.Process.Pid)
	photo := picturetest.JPEG(t, picturetest.Corners(410, 300), picturetest.Tags{}, 40_000_000)
	if len(photo) < 40_000_000 {
		t.Fatalf("the photo has %d bytes", len(photo))
	}
	status, said := sendPhoto(t, a, id, photo)
	if status != http.StatusCreated || !strings.Contains(said, fmt.Sprintf("%x", sha256.Sum256(photo))) {
		t.Fatalf("a large photo = %d %s", status, said)
	}
	more := mostMemory(t, a.Cmd.Process.Pid) - before
	t.Logf("a photo of %d MB took %.1f MiB more", len(photo)/1e6, float64(more)/(1<<20))
	if more > 20<<20 {
		t.Errorf("a photo of %d bytes took %d bytes of memory", len(photo), more)
	}
}

// I7: the disk gets full while a photo comes in. It is refused in words that a
// queue can act on, nothing of it stays, and it is taken when there is room.
func TestFullDiskInTheMiddleOfAPhoto(t *testing.T) {
	if os.Getuid() != 0 {
		asRoot(t)
		return
	}
	disk := smallDisk(t)
	data, filler := filepath.Join(disk, "data"), filepath.Join(disk, "filler")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0", "--reserve-mb", "1")
	id, said, err := tryPost(a.url(""), 1)
	if err != nil || id == "" {
		t.Fatalf("post: %v %s", err, said)
	}
	photo := picturetest.JPEG(t, picturetest.Corners(400, 300), picturetest.Tags{}, 10_000_000)
	fill(t, disk, filler, 6<<20)
	status, said := sendPhoto(t, a, id, photo)
	if status != http.StatusInsufficientStorage || !strings.Contains(said, "full") {
		t.Errorf("on a disk that gets full = %d %s", status, said)
	}
	if parts, err := filepath.Glob(filepath.Join(home.BlobPath(data), "part", "*")); err != nil || len(parts) != 0 {
		t.Errorf("left behind: %v %v", parts, err)
	}
	if status, said := sendPhoto(t, a, id, []byte("no photo")); status != http.StatusUnprocessableEntity {
		t.Errorf("no photo = %d %s", status, said) // that one is refused for good
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if status, said := sendPhoto(t, a, id, photo); status != http.StatusCreated {
		t.Errorf("with room again = %d %s", status, said)
	}
	res, err := http.Get(a.url("/api/v1/shots/" + id + "/photos"))
	if err != nil {
		t.Fatal(err)
	}
	if list := body(t, res); strings.Count(list, `"sha256"`) != 1 {
		t.Errorf("photos of the shot: %s", list)
	}
	if code := a.stop(); code != exitOK || bytes.Contains([]byte(a.out.String()), []byte("panic")) {
		t.Errorf("the agent ended with %d", code)
	}
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", data)
}

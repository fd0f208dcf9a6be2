package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"thudbook/sync/trial/programtest"
)

// tryPost posts one shot: its id when it was acknowledged, else what was said.
func tryPost(base string, n int) (id, said string, err error) { return postWhile(base, n, nil) }

// postWhile posts a shot and does something in the middle of it, when the agent
// has begun to take it in.
func postWhile(base string, n int, meanwhile func()) (id, said string, err error) {
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	part, err := m.CreateFormFile("file", fmt.Sprintf("shot-%d.csv", n))
	if err == nil {
		_, err = part.Write(shotBytes(n))
	}
	if err = errors.Join(err, m.Close()); err != nil {
		return "", "", err
	}
	var rest io.Reader = &form
	if meanwhile != nil {
		r, w := io.Pipe()
		rest = r
		go func() { // ends when the request does, which closes r
			_, err := io.CopyN(w, &form, 4096)
			if err == nil {
				time.Sleep(20 * time.Millisecond) // a look that comes too late is only a refusal more
				meanwhile()
				_, err = io.Copy(w, &form)
			}
			_ = w.CloseWithError(err)
		}()
	}
	res, err := http.Post(base+"/api/v1/shots", m.FormDataContentType(), rest)
	if err != nil {
		return "", "", err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		return "", "", err
	}
	var made struct {
		ID string `json:"id"`
	}
	if res.StatusCode == http.StatusCreated && json.Unmarshal(b, &made) == nil && made.ID != "" {
		return made.ID, "", nil
	}
	return "", res.Status + " " + string(b), nil
}

// fill takes all room of a disk but some bytes.
func fill(t *testing.T, disk, filler string, leave int64) {
	var fs syscall.Statfs_t
	err := syscall.Statfs(disk, &fs)
	if err == nil {
		err = os.WriteFile(filler, make([]byte, int64(fs.Bavail)*fs.Bsize-leave), 0o600)
	}
	if err != nil {
		t.Error(err)
	}
}

func hasShot(t *testing.T, p *process, id string) bool {
	t.Helper()
	res, err := http.Get(p.url("/api/v1/shots/" + id + "/source"))
	if err != nil {
		t.Fatal(err)
	}
	return body(t, res) != "" && res.StatusCode == http.StatusOK
}

// asRoot plays a test again in name spaces of its own, where it may mount a disk.
func asRoot(t *testing.T) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "unshare", "-Urm", os.Args[0], "-test.run", "^"+t.Name()+"$", "-test.v")
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()) {
		t.Fatalf("in a user name space: %v\n%s", err, out)
	}
}

// smallDisk mounts one of 48 MB, in memory.
func smallDisk(t *testing.T) string {
	t.Helper()
	disk := filepath.Join(t.TempDir(), "disk")
	if err := os.Mkdir(disk, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=48m"); err != nil {
		t.Fatalf("a small disk cannot be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	return disk
}

// I7: on a disk that is full the agent refuses in words and acknowledges
// nothing; it takes shots again when there is room, and has lost none.
func TestFullDisk(t *testing.T) {
	if os.Getuid() != 0 {
		asRoot(t)
		return
	}
	disk := smallDisk(t)
	data, filler := filepath.Join(disk, "data"), filepath.Join(disk, "filler")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0", "--reserve-mb", "1")
	var acked []string
	post := func(n int) (id, said string) {
		t.Helper()
		id, said, err := tryPost(a.url(""), n)
		if err != nil {
			t.Fatal(err)
		}
		if id != "" {
			acked = append(acked, id)
		}
		return id, said
	}
	if id, said := post(1); id == "" {
		t.Fatalf("with room: %s", said)
	}
	f, err := os.Create(filler)
	if err != nil {
		t.Fatal(err)
	}
	zeros := make([]byte, 64<<10)
	for err == nil {
		_, err = f.Write(zeros)
	}
	if !errors.Is(err, syscall.ENOSPC) || f.Close() != nil {
		t.Fatalf("filling the disk: %v", err)
	}
	for n := range 3 {
		if id, said := post(10 + n); id != "" || !strings.Contains(said, "full") {
			t.Errorf("on a full disk: id %q, %s", id, said)
		}
	}
	if out, errOut, code := thudbook(t.Context(), t, "doctor", "--data", data); code != exitUsage || !strings.Contains(out, "MB free") {
		t.Errorf("doctor on a full disk: exit code %d\n%s%s", code, out, errOut)
	}
	if _, errOut, code := thudbook(t.Context(), t, "backup", "--data", data, "--to", filepath.Join(disk, "backup")); code != exitUsage || !strings.Contains(errOut, "has room") {
		t.Errorf("backup to a full disk: exit code %d\n%s", code, errOut)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if id, said := post(20); id == "" {
		t.Errorf("with room again: %s", said)
	}
	for _, id := range acked {
		if !hasShot(t, a, id) {
			t.Errorf("shot %s was acknowledged and is not there", id)
		}
	}
	if code := a.stop(); code != exitOK {
		t.Errorf("the agent ended with %d", code)
	}
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", data)
}

// I7: the disk gets full in the middle of a shot, in every step of it. The agent
// says so and acknowledges nothing; when there is room again it takes shots
// without having been started anew.
func TestFullDiskInTheMiddleOfAShot(t *testing.T) {
	if os.Getuid() != 0 {
		asRoot(t)
		return
	}
	disk := smallDisk(t)
	data, filler := filepath.Join(disk, "data"), filepath.Join(disk, "filler")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0", "--reserve-mb", "1")
	var acked []string
	for n := 0; n < 60 && !strings.Contains(a.out.String(), "the store cannot be written"); n++ {
		id, said, err := postWhile(a.url(""), n, func() { fill(t, disk, filler, int64(4096*(n+1))) })
		if err != nil {
			t.Fatalf("%v\n%s", err, a.out)
		}
		if id != "" {
			acked = append(acked, id)
		} else if said == "" {
			t.Error("refused without a word")
		}
		if err := os.Remove(filler); err != nil {
			t.Fatal(err)
		}
	}
	if !strings.Contains(a.out.String(), "the store cannot be written") {
		t.Fatalf("no commit met the full disk: the test proves nothing\n%s", a.out)
	}
	deadline := time.Now().Add(30 * time.Second)
	for n := 0; ; n++ {
		id, said, err := tryPost(a.url(""), 2000+n)
		if err != nil {
			t.Fatalf("the agent ended: %v\n%s", err, a.out)
		}
		if id != "" {
			acked = append(acked, id)
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("with room again: %s\n%s", said, a.out)
		}
		time.Sleep(50 * time.Millisecond)
	}
	res, err := http.Get(a.url("/"))
	if err != nil {
		t.Fatal(err)
	}
	if b := body(t, res); !strings.Contains(b, "no space left on device") || !strings.Contains(b, "was opened again at") {
		t.Error("the screen does not say what happened to the store")
	}
	for seen := false; !seen; { // and it is kept that a person has to hear of it
		if res, err = http.Get(a.url("/api/v1/alarms")); err != nil {
			t.Fatal(err)
		}
		seen = strings.Contains(body(t, res), `"store_failed"`)
		if !seen && time.Now().After(deadline) {
			t.Fatalf("no alarm was kept\n%s", a.out)
		}
		time.Sleep(50 * time.Millisecond)
	}
	for _, id := range acked {
		if !hasShot(t, a, id) {
			t.Errorf("shot %s was acknowledged and is not there", id)
		}
	}
	if code := a.stop(); code != exitOK {
		t.Errorf("the agent ended with %d", code)
	}
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", data)
}

// I1, I7: "no space left" at one write after another. Nothing that was
// acknowledged is missing when the agent is started again, and it goes on.
// THUDBOOK_ENOSPC sets how many writes are tried, from the first on.
func TestNoSpaceAtAWrite(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Fatalf("calls cannot be made to fail: %v; .ci/need installs strace", err)
	}
	writes := []int{3, 9, 14, 22}
	if s := os.Getenv("THUDBOOK_ENOSPC"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 {
			t.Fatalf("THUDBOOK_ENOSPC=%q is not a number of writes", s)
		}
		writes = nil
		for k := range n {
			writes = append(writes, k+1)
		}
	}
	bin, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	met := 0
	for _, k := range writes {
		data := filepath.Join(t.TempDir(), "data")
		acked, out := postUntilItStops(t, strace, bin, data, k)
		if strings.Contains(out, "no space left") {
			met++
		}
		if strings.Contains(out, "panic:") || strings.Contains(out, "goroutine ") {
			t.Errorf("write %d: %s", k, out)
		}
		a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0")
		for _, id := range acked {
			if !hasShot(t, a, id) {
				t.Errorf("write %d: shot %s was acknowledged and is not there", k, id)
			}
		}
		postShot(t, a, 1000)
		a.stop()
		if _, errOut, code := thudbook(t.Context(), t, "verify", "--data", data); code != exitOK {
			t.Errorf("write %d: verify gives %d\n%s", k, code, errOut)
		}
	}
	t.Logf("%d of %d runs met the error and said so", met, len(writes))
	if met == 0 {
		t.Error("no run met the error: the test proves nothing")
	}
}

// postUntilItStops runs the agent with the k-th write of each of its threads
// failing, posts a few shots, and ends it.
func postUntilItStops(t *testing.T, strace, bin, data string, k int) (acked []string, out string) {
	t.Helper()
	address := filepath.Join(t.TempDir(), "address")
	cmd := exec.Command(strace, "-f", "-qq", "-o", os.DevNull, "-e", "trace=write,pwrite64", "-e", fmt.Sprintf("inject=write,pwrite64:error=ENOSPC:when=%d", k),
		bin, "agent", "--data", data, "--listen", "127.0.0.1:0", "--listen-file", address)
	var b programtest.Output
	cmd.Stdout, cmd.Stderr = &b, &b
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { _ = cmd.Wait(); close(done) }()
	end := func() {
		_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) // strace and the agent
		<-done
	}
	defer end()
	for {
		addr, err := os.ReadFile(address)
		if err == nil && len(addr) > 0 {
			for n := range 4 {
				id, said, err := tryPost("http://"+strings.TrimSpace(string(addr)), n)
				if err != nil {
					break
				}
				if id == "" {
					_, _ = b.Write([]byte(said))
					continue
				}
				acked = append(acked, id)
			}
			end()
			return acked, b.String()
		}
		select {
		case <-done:
			return nil, b.String()
		case <-time.After(20 * time.Millisecond):
		}
	}
}

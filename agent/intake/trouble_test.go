//go:build unix

package intake_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/agent/intake"
	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
)

func (w *world) put(text string) intake.Submission {
	w.t.Helper()
	ref, err := w.in.Put(w.t.Context(), strings.NewReader(text), int64(len(text)))
	w.must(err)
	return intake.Submission{Name: "posted.csv", Ref: ref}
}

func TestSameBytesAtOnceGiveOneShot(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	text := csv(75)
	w.write("posted.csv", text)
	w.start()
	var wg sync.WaitGroup
	var taken atomic.Int64
	ids := make([]uuid.UUID, 8)
	for i := range ids {
		wg.Go(func() {
			ref, err := w.in.Put(t.Context(), strings.NewReader(text), -1)
			if err != nil {
				t.Error(err)
				return
			}
			out, err := w.in.Submit(t.Context(), intake.Submission{Name: "posted.csv", Ref: ref})
			if err != nil {
				t.Error(err)
			}
			if out.Status == intake.Taken {
				taken.Add(1)
			} else if out.Status != intake.Known {
				t.Errorf("status %v", out.Status)
			}
			ids[i] = out.ID
		})
	}
	wg.Wait()
	w.settled()
	if shots := w.shots(); len(shots) != 1 || w.in.Counts().Taken != 1 || taken.Load() > 1 || len(w.sightings()) != 0 {
		t.Errorf("%d shots, %d taken, %d sightings; want one shot", len(shots), taken.Load(), len(w.sightings()))
	}
	for _, id := range ids {
		if id != ids[0] {
			t.Errorf("ids differ: %v", ids)
		}
	}
}

func TestUnreadablePostsAreKeptOnce(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	for range 3 {
		s := w.put("this is no table\n")
		out, err := w.in.Submit(t.Context(), s)
		w.must(err)
		if out.Status != intake.Quarantined || out.Error == nil || out.Error.Fix == "" {
			t.Fatalf("outcome = %+v", out)
		}
	}
	if q := w.quarantine(true); len(q) != 1 || string(w.stored(q["posted.csv"].Quarantine.SourceSHA256)) != "this is no table\n" {
		t.Errorf("quarantine = %v, want the bytes once", q)
	}
}

func TestMetaThatCannotBeUsed(t *testing.T) {
	long := `{"x":"` + strings.Repeat("y", 60_000) + `"}`
	for name, meta := range map[string][2]string{"no JSON": {`{"specimen":`, "meta_unreadable"}, "too long": {long, "meta_field_unusable"}} {
		meta, code := meta[0], meta[1]
		t.Run(name, func(t *testing.T) {
			w := newWorld(t, ledgertest.Options{})
			s := w.put(csv(30))
			s.Meta = []byte(meta)
			out, err := w.in.Submit(t.Context(), s)
			w.must(err)
			r := w.shots()["posted.csv"]
			if out.Status != intake.Taken || !w.hasFlag(out.ID, code) || r.Shot.Assigned() {
				t.Fatalf("outcome %+v, shot %+v", out, r.Shot)
			}
			if a, ok := r.Attachment(intake.RoleMeta); !ok || string(w.stored(a.SHA256)) != meta {
				t.Error("the meta's bytes are not kept")
			}
		})
	}
}

func TestFileTimeThatNoShotHas(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	w.write("a.csv", csv(33))
	never := time.Date(1901, 12, 13, 20, 45, 52, 0, time.UTC)
	w.must(os.Chtimes(w.path("a.csv"), never, never))
	w.start()
	w.settled()
	r := w.shots()["a.csv"]
	if r.Shot.EffectiveFrom != lab.FromReceived || time.Since(r.Shot.EffectiveAt.Time()) > time.Hour || !w.hasFlag(r.ID, "file_time_implausible") {
		t.Errorf("effective %s from %s", r.Shot.EffectiveAt, r.Shot.EffectiveFrom)
	}
}

func TestLateMetaFillsWhatIsMissing(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	w.write("a.csv", csv(71))
	w.start()
	w.settled()
	id := w.shots()["a.csv"].ID
	n, err := w.in.Assign(t.Context(), intake.Assignment{Shot: id, Meta: lab.Meta{Specimen: "H-7"}})
	if err != nil || n != 1 {
		t.Fatalf("Assign = %d, %v", n, err)
	}
	w.write("a.meta.json", `{"specimen":"H-99","location":"side","target_speed_m_s":7.4,"kind":"dry","fired_at":"2026-05-04T08:00:00Z"}`)
	w.until("the meta is applied", func() bool { return w.shots()["a.csv"].Shot.Location == "side" })
	s := w.shots()["a.csv"].Shot
	if s.Specimen != "H-7" || *s.TargetSpeedMS != 7.4 || s.Kind != lab.ShotDry || s.EffectiveAt.String() != "2026-05-04T08:00:00.000Z" || s.EffectiveFrom != lab.FromMeta {
		t.Errorf("shot = %+v; what was typed must stay, the rest come from the file", s)
	}
	if r := w.shots()["a.csv"]; !slices.Equal(r.TypedFields(), []string{"specimen"}) {
		t.Errorf("typed: %v, want the specimen alone: the rest came with the meta", r.TypedFields())
	}
	before, err := w.l.Heads(t.Context())
	w.must(err)
	w.restart()
	w.settled()
	w.lookedAfter(time.Now()) // once more, with everything known
	after, err := w.l.Heads(t.Context())
	w.must(err)
	for o := range after {
		if after[o] != before[o] {
			t.Errorf("a meta file was applied again: %v, then %v", before[o], after[o])
		}
	}
}

func TestAssign(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	out, err := w.in.Submit(t.Context(), w.put(csv(72)))
	w.must(err)
	speed := 5.5
	a := intake.Assignment{Shot: out.ID, Meta: lab.Meta{Specimen: "H-3", Location: "front", TargetSpeedMS: &speed}, Kind: lab.ShotHit}
	if n, err := w.in.Assign(t.Context(), a); n != 3 || err != nil {
		t.Fatalf("Assign = %d, %v; want 3 edits", n, err)
	}
	if n, err := w.in.Assign(t.Context(), a); n != 0 || err != nil {
		t.Errorf("the same again = %d, %v; want nothing", n, err)
	}
	if s := w.shots()["posted.csv"].Shot; !s.Assigned() || s.Specimen != "H-3" {
		t.Errorf("shot = %+v", s)
	}
	a.Meta.Specimen = "H-4"
	if n, err := w.in.Assign(t.Context(), a); n != 1 || err != nil {
		t.Errorf("correction = %d, %v", n, err)
	}
	r := w.shots()["posted.csv"]
	if r.Shot.Specimen != "H-4" || len(r.Conflicts()) != 0 {
		t.Errorf("specimen %q, conflicts %v", r.Shot.Specimen, r.Conflicts())
	}
	bad := -3.0
	if _, err := w.in.Assign(t.Context(), intake.Assignment{Shot: out.ID, Meta: lab.Meta{TargetSpeedMS: &bad}}); problem.Of(err) != problem.Invalid {
		t.Errorf("negative speed: %v", err)
	}
	if _, err := w.in.Assign(t.Context(), intake.Assignment{Shot: uuid.New()}); problem.Of(err) != problem.NotFound {
		t.Errorf("unknown shot: %v", err)
	}
}

func TestOverTheLimit(t *testing.T) {
	w := newWorld(t, ledgertest.Options{}, func(o *intake.Options) { o.Limit = 10_000 })
	w.write("big.csv", csv(55))
	w.write("small.csv", "t,ax\n0,1\n0.1,2\n")
	w.start()
	w.settled()
	q, ok := w.quarantine(false)["big.csv"]
	if !ok || q.Quarantine.Error.Code != "too_large" || !strings.Contains(q.Quarantine.Error.What, w.path("big.csv")) {
		t.Fatalf("quarantine = %+v", w.quarantine(false))
	}
	if has, _, err := w.l.Blobs.Has(t.Context(), q.Quarantine.SourceSHA256); has || err != nil {
		t.Errorf("bytes over the limit were kept: %v %v", has, err)
	}
	if _, err := w.in.Put(t.Context(), strings.NewReader(csv(56)), -1); problem.Of(err) != problem.TooLarge {
		t.Errorf("Put over the limit = %v", err)
	}
}

func TestNearlyFullDiskPauses(t *testing.T) {
	w := newWorld(t, ledgertest.Options{}, func(o *intake.Options) { o.Reserve = 1 << 60 })
	for i, name := range []string{"a.csv", "b.csv", "c.csv"} {
		w.write(name, csv(57+float64(i)))
	}
	w.start()
	w.until("each file was tried several times and says why", func() bool {
		s := w.in.Folders()[0].Waiting
		return w.in.Counts().Refused >= 7 && len(s) == 3 && strings.Contains(s[0].Why, "disk is nearly full") && s[0].Fix != ""
	})
	if n := strings.Count(w.log.String(), "why=\"The disk is nearly full"); n != 1 {
		t.Errorf("the log says %d times that the disk is nearly full, want once", n)
	}
	if err := w.in.Room(0); problem.Of(err) != problem.Unavailable {
		t.Errorf("Room = %v", err)
	}
	if _, err := w.in.Put(t.Context(), strings.NewReader("x"), 1); problem.Of(err) != problem.Unavailable {
		t.Errorf("Put = %v", err)
	}
	w.opt.Reserve = 1
	w.restart()
	w.settled()
	if len(w.shots()) != 3 {
		t.Error("the files were not taken in when there was room again")
	}
}

// failing makes commits fail in the way of a disk that gave an error.
type failing struct {
	kv.Store
	on *atomic.Bool
}

func (f failing) Update(ctx context.Context, fn func(kv.Tx) error) error {
	if f.on.Load() {
		return fmt.Errorf("commit: %w", errors.Join(kv.ErrUnknown, syscall.ENOSPC))
	}
	return f.Store.Update(ctx, fn)
}

// I7: while the store cannot be written nothing is acknowledged and files wait,
// with the reason; when it was opened again they are taken in, without a restart.
func TestFailedCommitAcknowledgesNothing(t *testing.T) {
	var on atomic.Bool
	w := newWorld(t, ledgertest.Options{Wrap: func(s kv.Store) kv.Store { return failing{s, &on} }})
	w.start()
	on.Store(true)
	text := csv(58)
	w.write("a.csv", text)
	w.until("the file waits, with the reason", func() bool {
		s := w.in.Folders()[0].Waiting
		return len(s) == 1 && s[0].Fix != "" && w.in.Trouble() != nil && w.in.Counts().Refused >= 2
	})
	if _, err := w.in.Submit(t.Context(), w.put(csv(59))); problem.Of(err) != problem.Unavailable {
		t.Errorf("Submit after the failure = %v", err)
	}
	if n := len(w.shots()); n != 0 {
		t.Errorf("%d shots", n)
	}
	if err := w.l.Recover(t.Context()); err == nil || w.l.Faulted() == nil {
		t.Errorf("Recover with the disk still full = %v", err)
	}
	on.Store(false)
	w.must(w.l.Recover(t.Context()))
	w.settled()
	if s := w.shots(); len(s) != 1 || string(w.stored(s["a.csv"].Shot.SourceSHA256)) != text || w.in.Trouble() != nil {
		t.Errorf("after the store was opened again: %v, %v", s, w.in.Trouble())
	}
}

// TestNoPermission needs a user whom permissions bind, which root is not.
func TestNoPermission(t *testing.T) {
	if os.Getenv("THUDBOOK_TEST_CHILD") == "" && os.Geteuid() == 0 {
		asNobody(t)
		return
	}
	w := newWorld(t, ledgertest.Options{})
	w.write("a.csv", csv(61))
	w.must(os.Chmod(w.path("a.csv"), 0))
	w.write("b.csv", csv(62))
	w.start()
	w.until("the wait is in words, with the fix", func() bool {
		s := w.in.Folders()[0].Waiting
		return len(s) == 1 && s[0].Name == "a.csv" && s[0].Why == "no permission to read the file" && s[0].Fix != "" && len(w.shots()) == 1
	})
	if !strings.Contains(w.log.String(), "no permission") || len(w.quarantine(true)) != 0 {
		t.Error("not in the log, or recorded before it could be read")
	}
	w.must(os.Chmod(w.path("a.csv"), 0o600))
	w.until("the file is taken in once it can be read", func() bool { return len(w.shots()) == 2 })
}

// asNobody runs this one test again as a user without rights.
func asNobody(t *testing.T) {
	dir, err := os.MkdirTemp("", "thudbook-nobody-")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	const nobody = 65534
	exe := filepath.Join(dir, "intake.test")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	from, err := os.Open(self)
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	to, err := os.OpenFile(exe, os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	_, err = io.Copy(to, from)
	if err := errors.Join(err, to.Close(), os.Chmod(dir, 0o755)); err != nil {
		t.Fatal(err)
	}
	tmp := filepath.Join(dir, "tmp")
	if err := errors.Join(os.Mkdir(tmp, 0o700), os.Chown(tmp, nobody, nobody)); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), exe, "-test.run", "^TestNoPermission$", "-test.v")
	cmd.Env = append(os.Environ(), "THUDBOOK_TEST_CHILD=1", "TMPDIR="+tmp, "HOME="+tmp)
	cmd.Dir = tmp
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	out, err := cmd.CombinedOutput()
	if err != nil || !bytes.Contains(out, []byte("--- PASS: TestNoPermission")) {
		t.Fatalf("as user %d: %v\n%s", nobody, err, out)
	}
}

// unstorable is a blob store on a disk that fails.
type unstorable struct {
	blob.Store
	on *atomic.Bool
}

func (u unstorable) Put(ctx context.Context, r io.Reader, limit int64) (blob.Ref, error) {
	if u.on.Load() {
		return blob.Ref{}, &problem.Error{Code: problem.Unavailable, What: "bytes cannot be stored", Fix: "check the disk", Err: syscall.EROFS}
	}
	return u.Store.Put(ctx, r, limit)
}

// A disk that fails before anything is recorded is on the screen, and off it as
// soon as it can be written again, without a file being sent.
func TestBytesThatCannotBeStored(t *testing.T) {
	var on atomic.Bool
	w := newWorld(t, ledgertest.Options{})
	w.blobs = func(s blob.Store) blob.Store { return unstorable{s, &on} }
	w.build()
	if err := w.in.Unsaved(); err != nil {
		t.Errorf("at the start: %v", err)
	}
	on.Store(true)
	if _, err := w.in.Put(t.Context(), strings.NewReader("x"), 1); problem.Of(err) != problem.Unavailable {
		t.Fatalf("Put = %v", err)
	}
	p, ok := problem.As(w.in.Unsaved())
	if !ok || !strings.Contains(p.What, syscall.EROFS.Error()) || p.Fix == "" {
		t.Errorf("the screen says %v", w.in.Unsaved())
	}
	w.until("the disk was tried again", func() bool { return w.in.Unsaved() == nil })
	if _, err := w.in.Put(t.Context(), strings.NewReader("x"), 1); err == nil || w.in.Unsaved() == nil {
		t.Errorf("failing again: Put = %v, the screen says %v", err, w.in.Unsaved())
	}
	on.Store(false)
	if _, err := w.in.Put(t.Context(), strings.NewReader("x"), 1); err != nil || w.in.Unsaved() != nil {
		t.Errorf("a file that is stored: Put = %v, the screen says %v", err, w.in.Unsaved())
	}
}

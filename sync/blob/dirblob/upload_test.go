package dirblob_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"testing/iotest"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/blob/blobtest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Invariant S13: what was told as durable is there for whoever opens the
// folder next; what came after it is cut off, whatever it looks like.
func TestTransferSurvivesACrash(t *testing.T) {
	b := blobtest.Random(1, 9<<20)
	want := blob.Ref{SHA256: sum(b), Size: int64(len(b))}
	for name, crash := range map[string]func(t *testing.T, data, note string){
		"nothing more": func(*testing.T, string, string) {},
		"bytes behind the note": func(t *testing.T, data, _ string) {
			f, err := os.OpenFile(data, os.O_WRONLY|os.O_APPEND, 0)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := f.Write(make([]byte, 5000)); err != nil {
				t.Fatal(err)
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}
		},
		"the older slot torn": func(t *testing.T, _, note string) { tear(t, note, 0) },
		"the other slot torn": func(t *testing.T, _, note string) { tear(t, note, 256) },
	} {
		dir := t.TempDir()
		s := open(t, dir)
		told, err := s.Append(t.Context(), "x", want, 0, io.MultiReader(bytes.NewReader(b[:5<<20]), iotest.ErrReader(errors.New("cut"))), nil)
		if told != 5<<20 || err == nil {
			t.Fatalf("%s: told %d, %v", name, told, err)
		}
		data := filepath.Join(dir, "part", "up-x-"+want.SHA256.String())
		crash(t, data, data+".note")
		s = open(t, dir) // without a word to the first
		at, err := s.Partial(t.Context(), "x", want)
		if err != nil || name[:3] != "the" && at != told || at != told && at != 4<<20 {
			t.Errorf("%s: after the crash %d bytes, %v, told were %d", name, at, err, told)
		}
		if at, err = s.Append(t.Context(), "x", want, at, bytes.NewReader(b[at:]), nil); at != want.Size || err != nil {
			t.Errorf("%s: going on: %d, %v", name, at, err)
		}
		if err := s.Verify(t.Context(), want.SHA256); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if left, err := os.ReadDir(filepath.Join(dir, "part")); err != nil || len(left) != 0 {
			t.Errorf("%s: left over: %v, %v", name, left, err)
		}
	}
}

func sum(b []byte) record.Hash { return sha256.Sum256(b) }

func tear(t *testing.T, note string, at int) {
	b, err := os.ReadFile(note)
	if err != nil || len(b) != 512 {
		t.Fatalf("the note has %d bytes, %v", len(b), err)
	}
	b[at+40] ^= 1
	if err := os.WriteFile(note, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// A file that lost bytes below the note is not trusted: the transfer begins anew.
func TestTransferThatLostBytesBeginsAnew(t *testing.T) {
	b := blobtest.Random(2, 100_000)
	want := blob.Ref{SHA256: sum(b), Size: int64(len(b))}
	dir := t.TempDir()
	s := open(t, dir)
	if _, err := s.Append(t.Context(), "", want, 0, bytes.NewReader(b[:60_000]), nil); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(filepath.Join(dir, "part", "up--"+want.SHA256.String()), 1000); err != nil {
		t.Fatal(err)
	}
	at, err := s.Append(t.Context(), "", want, 60_000, bytes.NewReader(b[60_000:]), nil)
	if at != 0 || err == nil {
		t.Fatalf("going on = %d, %v, want to be sent to 0", at, err)
	}
	if at, err := s.Append(t.Context(), "", want, 0, bytes.NewReader(b), nil); at != want.Size || err != nil {
		t.Errorf("anew = %d, %v", at, err)
	}
}

func TestOldTransfersAreSwept(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	for i, age := range []time.Duration{13 * 24 * time.Hour, 15 * 24 * time.Hour} {
		b := blobtest.Random(uint64(i), 1000)
		want := blob.Ref{SHA256: sum(b), Size: 1000}
		if _, err := s.Append(t.Context(), "x", want, 0, bytes.NewReader(b[:500]), nil); err != nil {
			t.Fatal(err)
		}
		data := filepath.Join(dir, "part", "up-x-"+want.SHA256.String())
		for _, path := range []string{data, data + ".note"} {
			at := time.Now().Add(-age)
			if err := os.Chtimes(path, at, at); err != nil {
				t.Fatal(err)
			}
		}
	}
	open(t, dir)
	if left, err := os.ReadDir(filepath.Join(dir, "part")); err != nil || len(left) != 2 {
		t.Errorf("left: %v, %v, want the two files of the younger transfer", left, err)
	}
}

func TestFreeIsPlausible(t *testing.T) {
	if n, total, err := open(t, t.TempDir()).Free(); n <= 0 || n > total || err != nil {
		t.Errorf("Free = %d of %d, %v", n, total, err)
	}
}

// A transfer that is open is that of one size: another one under the same sum is
// refused, and has nothing there.
func TestTransferOfAnotherSize(t *testing.T) {
	b := blobtest.Random(3, 3<<20)
	want := blob.Ref{SHA256: sum(b), Size: int64(len(b))}
	s := open(t, t.TempDir())
	stopped := errors.New("stopped")
	wait, goOn, done := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	go func() {
		_, err := s.Append(t.Context(), "x", want, 0, io.MultiReader(bytes.NewReader(b[:2<<20]), readerFunc(func([]byte) (int, error) {
			close(wait)
			<-goOn
			return 0, stopped
		})), nil)
		done <- err
	}()
	<-wait
	longer := want
	longer.Size++
	at, err := s.Partial(t.Context(), "x", longer)
	if at != 0 || err != nil {
		t.Errorf("of the longer one %d bytes are there, %v", at, err)
	}
	if at, err := s.Append(t.Context(), "x", longer, 0, bytes.NewReader(b), nil); at != 0 || problem.Of(err) != problem.Of(blob.Unlike(want.SHA256, "")) {
		t.Errorf("the longer one: %d, %v", at, err)
	}
	close(goOn)
	if err := <-done; !errors.Is(err, stopped) {
		t.Errorf("the first one: %v", err)
	}
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(b []byte) (int, error) { return f(b) }

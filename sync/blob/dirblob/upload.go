package dirblob

import (
	"context"
	"crypto/sha256"
	"encoding"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/durable"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// A transfer that may be cut lies in two files: its bytes, and beside them how
// many of these are durable, with the state of the hash at that place. The note
// is written only after the bytes are synced, and synced itself before anybody
// is told: what was told is there after a power cut too.
const (
	uploadPrefix = "up-"
	noteSuffix   = ".note"
	uploadAge    = 14 * 24 * time.Hour // longer than a lab's link is down
	syncEvery    = 4 << 20             // bytes that a cut of power may cost
	readSize     = 256 << 10
	maxScope     = 64
)

// upload is a transfer that somebody works on now.
type upload struct {
	path  string
	want  blob.Ref
	users int // guarded by Store.mu

	mu     sync.Mutex
	turn   int // of the writer that came last; earlier ones stop
	f      *os.File
	note   note
	at     int64 // written
	synced int64 // durable, and noted
	sum    hash.Hash
}

// Partial implements blob.Store.
func (s *Store) Partial(ctx context.Context, scope string, want blob.Ref) (int64, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	path, err := s.uploadPath(scope, want.SHA256)
	if err != nil {
		return 0, err
	}
	s.mu.Lock()
	u := s.uploads[path]
	s.mu.Unlock()
	if u != nil {
		u.mu.Lock()
		defer u.mu.Unlock()
		if u.f != nil && u.want == want {
			err := s.checkpoint(u)
			return u.synced, err
		}
	}
	n, err := readNote(path+noteSuffix, want.Size)
	return n.offset, err
}

// Append implements blob.Store.
func (s *Store) Append(ctx context.Context, scope string, want blob.Ref, offset int64, r io.Reader, proved func() error) (at int64, err error) {
	path, err := s.uploadPath(scope, want.SHA256)
	if err != nil {
		return 0, err
	}
	if want.Size < 0 {
		return 0, blob.Unlike(want.SHA256, "a negative number of bytes")
	}
	s.sweepNow()
	u := s.acquire(path)
	defer func() { err = errors.Join(err, s.release(u)) }()
	turn, at, err := s.begin(u, want, offset)
	if err != nil {
		return at, err
	}
	return s.stream(ctx, u, writer{turn, proved}, r)
}

// writer is one who appends: whose turn it is, and whom to tell.
type writer struct {
	turn   int
	proved func() error
}

func (s *Store) uploadPath(scope string, h record.Hash) (string, error) {
	bad := func(c rune) bool { return !(c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c == '-') }
	if len(scope) > maxScope || strings.ContainsFunc(scope, bad) {
		return "", fmt.Errorf("dirblob: %q cannot be the scope of a transfer", scope)
	}
	return filepath.Join(s.root, partDir, uploadPrefix+scope+"-"+h.String()), nil
}

func (s *Store) acquire(path string) *upload {
	s.mu.Lock()
	defer s.mu.Unlock()
	u := s.uploads[path]
	if u == nil {
		u = &upload{path: path}
		s.uploads[path] = u
	}
	u.users++
	return u
}

// release closes the file with the last user.
func (s *Store) release(u *upload) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if u.users--; u.users > 0 {
		return nil
	}
	delete(s.uploads, u.path)
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.close()
}

func (u *upload) close() error {
	if u.f == nil {
		return nil
	}
	f := u.f
	u.f = nil
	return errors.Join(f.Close(), u.note.close())
}

// begin takes the turn of writing, and opens the files where nobody has yet.
func (s *Store) begin(u *upload, want blob.Ref, offset int64) (turn int, at int64, err error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.turn++
	if u.f != nil && u.want != want {
		return 0, 0, blob.Unlike(want.SHA256, fmt.Sprintf("%d bytes, and %d before", want.Size, u.want.Size))
	}
	if u.f == nil {
		u.want = want
		if err := u.open(); err != nil {
			return 0, 0, unavailable("a transfer cannot be taken up again", u.path, err)
		}
	}
	if u.at != offset {
		err := s.checkpoint(u)
		return 0, u.synced, errors.Join(blob.Elsewhere(want.SHA256, u.synced), err)
	}
	return u.turn, u.synced, nil
}

// open goes on where the note says, or starts anew where it says nothing that
// can be used.
func (u *upload) open() (err error) {
	if u.f, err = os.OpenFile(u.path, os.O_RDWR|os.O_CREATE, fileMode); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, u.close())
		}
	}()
	if u.note, err = openNote(u.path+noteSuffix, u.want.Size); err != nil {
		return err
	}
	fi, err := u.f.Stat()
	if err != nil {
		return err
	}
	u.sum, u.at = sha256.New(), u.note.offset
	if u.at > fi.Size() || u.at > 0 && u.sum.(encoding.BinaryUnmarshaler).UnmarshalBinary(u.note.state) != nil {
		u.sum, u.at, u.note.offset = sha256.New(), 0, 0
	}
	u.synced = u.at
	if err := u.f.Truncate(u.at); err != nil { // what came after the last note
		return err
	}
	_, err = u.f.Seek(u.at, io.SeekStart)
	return err
}

// stream writes what r gives as long as nobody else took the turn.
func (s *Store) stream(ctx context.Context, u *upload, w writer, r io.Reader) (int64, error) {
	buf := make([]byte, readSize)
	for {
		n, readErr := 0, ctx.Err()
		if readErr == nil {
			n, readErr = fill(r, buf)
		}
		at, err := s.write(u, w, buf[:n], readErr != nil)
		switch {
		case err != nil && readErr != nil && readErr != io.EOF:
			return at, errors.Join(readErr, err)
		case err != nil:
			return at, err
		case readErr == io.EOF:
			return at, nil
		case readErr != nil:
			return at, readErr
		}
	}
}

// fill reads until b is full or the reader ends, with the reader's own error:
// one that wraps io.EOF is not the end.
func fill(r io.Reader, b []byte) (n int, err error) {
	for n < len(b) && err == nil {
		var m int
		m, err = r.Read(b[n:])
		n += m
	}
	return n, err
}

// write appends one piece; last makes everything durable that is there.
func (s *Store) write(u *upload, w writer, b []byte, last bool) (int64, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.turn != w.turn || u.f == nil {
		return u.synced, blob.Elsewhere(u.want.SHA256, u.synced)
	}
	if u.at+int64(len(b)) > u.want.Size {
		return u.synced, errors.Join(blob.Unlike(u.want.SHA256, fmt.Sprintf("more than the announced %d bytes", u.want.Size)), s.setAside(u))
	}
	if len(b) > 0 {
		if _, err := u.f.WriteAt(b, u.at); err != nil {
			u.turn++ // nobody goes on with a file of which nobody knows what it holds
			return u.synced, errors.Join(diskTrouble("bytes cannot be stored", u.path, err), u.close())
		}
		u.sum.Write(b)
		u.at += int64(len(b))
	}
	if u.at == u.want.Size {
		if !last {
			return u.synced, nil // the end of the stream is still to be seen
		}
		return s.finish(u, w.proved)
	}
	if !last && u.at-u.synced < syncEvery {
		return u.synced, nil
	}
	err := s.checkpoint(u)
	return u.synced, err
}

// checkpoint makes durable what was written.
func (s *Store) checkpoint(u *upload) error {
	if u.at == u.synced {
		return nil
	}
	state, err := u.sum.(encoding.BinaryMarshaler).MarshalBinary()
	if err == nil {
		s.syncs.Add(2)
		err = errors.Join(syncFile(u.f), u.note.write(u.at, state))
	}
	if err == nil && u.note.fresh {
		s.syncs.Add(1)
		err = durable.SyncDir(filepath.Dir(u.path))
		u.note.fresh = err != nil
	}
	if err != nil {
		u.turn++
		return errors.Join(diskTrouble("bytes cannot be stored durably", u.path, err), u.close())
	}
	u.synced = u.at
	return nil
}

// finish gives whole bytes their name, or moves aside what is something else.
func (s *Store) finish(u *upload, proved func() error) (int64, error) {
	if got := record.Hash(u.sum.Sum(nil)); got != u.want.SHA256 {
		return 0, errors.Join(blob.Unlike(u.want.SHA256, fmt.Sprintf("%d bytes with hash %s", u.at, got)), s.setAside(u))
	}
	if proved != nil {
		if err := proved(); err != nil {
			return u.synced, errors.Join(err, s.checkpoint(u))
		}
	}
	s.syncs.Add(1)
	u.turn++
	if err := errors.Join(syncFile(u.f), u.close()); err != nil {
		return u.synced, diskTrouble("bytes cannot be stored durably", u.path, err)
	}
	// keep runs to its end once the bytes are whole.
	if err := s.keep(context.Background(), part{path: u.path, ref: u.want}); err != nil {
		return 0, err
	}
	return u.want.Size, dropNote(u.path + noteSuffix)
}

// setAside ends a transfer of bytes that are not what was announced.
func (s *Store) setAside(u *upload) error {
	u.turn++
	err := u.close()
	u.at, u.synced = 0, 0
	return errors.Join(err, s.quarantine(u.path, "received-"+u.want.SHA256.String()), dropNote(u.path+noteSuffix))
}

// Free tells how many bytes can still be written where the store lies, and how
// many the disk has.
func (s *Store) Free() (free, total int64, err error) { return diskSpace(s.root) }

// diskTrouble tells a full disk from other trouble.
func diskTrouble(what, where string, err error) error {
	if !isNoSpace(err) {
		return unavailable(what, where, err)
	}
	return &problem.Error{Code: problem.NoSpace, What: "the disk is full", Where: where,
		Fix: "free space on it; nothing that was stored before is touched", Err: err}
}

package care

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"thudbook/sync/durable"
	"thudbook/sync/kv"
	"thudbook/sync/record"
)

// Snapshotter is a store of one file that can be copied as one transaction sees it.
type Snapshotter interface {
	kv.Store
	Path() string
	Snapshot(ctx context.Context, w io.Writer, fn func(kv.Reader) error) error
}

// maxHeld bounds the changed bytes that the last pass keeps in memory.
const maxHeld = 64 << 20

// errMoved: more changed since the pass before than memory is kept for.
var errMoved = errors.New("the store changes faster than it is copied")

// pages copies a store, chunk by chunk, into a file that holds what no earlier
// run has written. It goes over the store on one transaction, compares hashes,
// and keeps in memory what is new; so the transaction lasts as long as reading
// takes and never waits for the disk of the backup. Where more is new than memory
// is kept for, the file is first copied with no transaction open: what that finds
// may be out of date, or torn, but most of it is not, and it need not be held.
type pages struct {
	dir   string
	name  string
	f     *os.File
	end   int64
	known map[record.Hash]Chunk
	fresh int64 // bytes written in this run
}

func openPages(dir string, known map[record.Hash]Chunk) (*pages, error) {
	name := pagesMark + rand.Text()
	f, err := os.OpenFile(filepath.Join(dir, name), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	return &pages{dir: dir, name: name, f: f, known: known}, nil
}

func (p *pages) put(b []byte, h record.Hash) error {
	if _, ok := p.known[h]; ok {
		return nil
	}
	if _, err := p.f.WriteAt(b, p.end); err != nil {
		return err
	}
	p.known[h] = Chunk{File: p.name, At: p.end, Size: len(b), SHA256: h}
	p.end += int64(len(b))
	p.fresh += int64(len(b))
	return nil
}

// ahead copies what is new without a transaction.
func (p *pages) ahead(ctx context.Context, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	buf := make([]byte, chunkSize)
	for err == nil {
		var n int
		n, err = io.ReadFull(f, buf)
		if e := ctx.Err(); e != nil {
			err = e
			break
		}
		if n > 0 {
			if e := p.put(buf[:n], sha256.Sum256(buf[:n])); e != nil {
				err = e
			}
		}
	}
	if err == io.EOF || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return errors.Join(err, f.Close())
}

// copyStore gives the chunks of the store as one transaction sees it; fn reads
// on the same transaction.
func (p *pages) copyStore(ctx context.Context, s Snapshotter, fn func(kv.Reader) error) ([]Chunk, error) {
	for try := range 4 {
		if try > 0 {
			if err := p.ahead(ctx, s.Path()); err != nil {
				return nil, err
			}
		}
		l := &lastPass{pages: p, limit: maxHeld}
		if try == 3 {
			l.limit = 1 << 62
		}
		err := s.Snapshot(ctx, l, fn)
		if errors.Is(err, errMoved) {
			continue
		}
		if err != nil {
			return nil, err
		}
		return l.finish()
	}
	return nil, errMoved
}

// lastPass takes the snapshot's bytes.
type lastPass struct {
	pages *pages
	buf   []byte
	sums  []record.Hash
	sizes []int
	held  map[record.Hash][]byte
	size  int
	limit int
}

func (l *lastPass) Write(b []byte) (int, error) {
	n := len(b)
	for len(b) > 0 {
		k := min(chunkSize-len(l.buf), len(b))
		l.buf = append(l.buf, b[:k]...)
		b = b[k:]
		if len(l.buf) == chunkSize {
			if err := l.cut(); err != nil {
				return 0, err
			}
		}
	}
	return n, nil
}

func (l *lastPass) cut() error {
	h := record.Hash(sha256.Sum256(l.buf))
	l.sums = append(l.sums, h)
	l.sizes = append(l.sizes, len(l.buf))
	_, known := l.pages.known[h]
	if _, held := l.held[h]; !known && !held {
		if l.size += len(l.buf); l.size > l.limit {
			return errMoved
		}
		if l.held == nil {
			l.held = make(map[record.Hash][]byte)
		}
		l.held[h] = l.buf
		l.buf = make([]byte, 0, chunkSize)
	}
	l.buf = l.buf[:0]
	return nil
}

// finish writes what was held, after the transaction.
func (l *lastPass) finish() ([]Chunk, error) {
	if len(l.buf) > 0 {
		if err := l.cut(); err != nil {
			return nil, err
		}
	}
	chunks := make([]Chunk, len(l.sums))
	for i, h := range l.sums {
		if b, ok := l.held[h]; ok {
			if err := l.pages.put(b, h); err != nil {
				return nil, err
			}
		}
		chunks[i] = l.pages.known[h]
	}
	return chunks, nil
}

// close makes the file durable, and drops it when nothing was written.
func (p *pages) close() error {
	path := filepath.Join(p.dir, p.name)
	err := errors.Join(p.f.Sync(), p.f.Close())
	if p.fresh == 0 || err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return durable.SyncDir(p.dir)
}

// readChunks gives the chunks' bytes in order, each checked against its hash.
func readChunks(ctx context.Context, dir string, chunks []Chunk, take func([]byte) error) (err error) {
	files := make(map[string]*os.File)
	defer func() {
		for _, f := range files {
			err = errors.Join(err, f.Close())
		}
	}()
	buf := make([]byte, chunkSize)
	for i, c := range chunks {
		if err := ctx.Err(); err != nil {
			return err
		}
		f := files[c.File]
		if f == nil {
			if !filepath.IsLocal(c.File) || filepath.Base(c.File) != c.File {
				return damagedBackup(filepath.Join(dir, manifestName), "it names a file outside the backup")
			}
			if f, err = os.Open(filepath.Join(dir, c.File)); err != nil {
				return damagedBackup(filepath.Join(dir, c.File), "a file of the backup cannot be opened: "+err.Error())
			}
			files[c.File] = f
		}
		if c.Size < 1 || c.Size > len(buf) {
			return damagedBackup(filepath.Join(dir, manifestName), fmt.Sprintf("piece %d of the store has an impossible size", i+1))
		}
		b := buf[:c.Size]
		if _, err := f.ReadAt(b, c.At); err != nil || record.Hash(sha256.Sum256(b)) != c.SHA256 {
			return damagedBackup(filepath.Join(dir, c.File), fmt.Sprintf("piece %d of the store, at byte %d, is not what was written", i+1, c.At))
		}
		if err := take(b); err != nil {
			return err
		}
	}
	return nil
}

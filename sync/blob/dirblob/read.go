package dirblob

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"

	"thudbook/sync/blob"
	"thudbook/sync/record"
)

// List implements blob.Store.
func (s *Store) List(ctx context.Context) iter.Seq2[blob.Ref, error] {
	return func(yield func(blob.Ref, error) bool) {
		for i := range 256 {
			if err := ctx.Err(); err != nil {
				yield(blob.Ref{}, err)
				return
			}
			dir := filepath.Join(s.root, fmt.Sprintf("%02x", i))
			names, err := os.ReadDir(dir) // sorted by name
			if errors.Is(err, fs.ErrNotExist) {
				continue // opened for reading alone
			}
			if err != nil {
				yield(blob.Ref{}, unavailable("the stored bytes cannot be listed", dir, err))
				return
			}
			for _, n := range names {
				ref, ok, err := refOf(n)
				if (ok || err != nil) && (!yield(ref, err) || err != nil) {
					return
				}
			}
		}
	}
}

// refOf reads a folder entry; names that are no hash, and files that went
// meanwhile, are passed over.
func refOf(n fs.DirEntry) (blob.Ref, bool, error) {
	h, err := record.ParseHash(n.Name())
	if err != nil || !n.Type().IsRegular() {
		return blob.Ref{}, false, nil
	}
	fi, err := n.Info()
	if errors.Is(err, fs.ErrNotExist) {
		return blob.Ref{}, false, nil
	}
	if err != nil {
		return blob.Ref{}, false, unavailable("the stored bytes cannot be listed", n.Name(), err)
	}
	return blob.Ref{SHA256: h, Size: fi.Size()}, true, nil
}

// checked is a file whose hash is checked at its end, as long as it is read
// from start to end.
type checked struct {
	f    *os.File
	want record.Hash
	sum  hash.Hash // nil once the order is broken
}

func newChecked(f *os.File, want record.Hash) *checked {
	return &checked{f: f, want: want, sum: sha256.New()}
}

func (c *checked) Read(p []byte) (int, error) {
	n, err := c.f.Read(p)
	if c.sum == nil {
		return n, err
	}
	c.sum.Write(p[:n])
	if err == io.EOF {
		if got := record.Hash(c.sum.Sum(nil)); got != c.want {
			return n, blob.Mismatch(c.want, "they have hash "+got.String())
		}
	}
	return n, err
}

func (c *checked) Seek(offset int64, whence int) (int64, error) {
	at, err := c.f.Seek(offset, whence)
	c.sum = nil
	if err == nil && at == 0 { // from the start again
		c.sum = sha256.New()
	}
	return at, err
}

// ReadAt reads past the check.
func (c *checked) ReadAt(p []byte, offset int64) (int, error) { return c.f.ReadAt(p, offset) }

func (c *checked) Close() error { return c.f.Close() }

// source remembers an error of the reader, to tell it from one of the disk.
type source struct {
	r   io.Reader
	err error
}

func (s *source) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	if err != nil && err != io.EOF {
		s.err = err
	}
	return n, err
}

// onlyWriter hides ReadFrom, so that the copy goes through the hash.
type onlyWriter struct{ io.Writer }

type contextReader struct {
	ctx context.Context
	r   io.Reader
}

// withContext ends reading when ctx ends.
func withContext(ctx context.Context, r io.Reader) io.Reader { return contextReader{ctx, r} }

func (c contextReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}

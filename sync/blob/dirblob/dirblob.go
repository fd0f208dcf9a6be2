// Package dirblob keeps blobs as files, named by their SHA-256, in a folder:
// two hexadecimal digits, then all 64. A file gets its name only after its
// bytes are synced, never in place of another, and the folder is synced after it.
package dirblob

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/durable"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

var _ blob.Store = (*Store)(nil)

const (
	partDir       = "part"       // being written
	quarantineDir = "quarantine" // moved aside
	partAge       = 24 * time.Hour
	dirMode       = 0o700
	fileMode      = 0o600
)

// Store is a folder of blobs.
type Store struct {
	root  string
	syncs atomic.Int64

	mu      sync.Mutex
	uploads map[string]*upload // that somebody works on now
	swept   time.Time
}

// Open opens or creates the folder and removes parts that were left unfinished
// for more than a day, and transfers that nobody went on with for two weeks.
func Open(dir string) (*Store, error) {
	s := &Store{root: dir, uploads: map[string]*upload{}, swept: time.Now()}
	if err := s.layOut(); err != nil {
		return nil, unavailable("the folder for stored bytes cannot be used", dir, err)
	}
	if err := s.sweep(); err != nil {
		return nil, unavailable("the folder for stored bytes cannot be used", dir, err)
	}
	return s, nil
}

// OpenReadOnly gives the blobs of a folder for reading. It makes and removes
// nothing; a folder that is not there holds no blobs.
func OpenReadOnly(dir string) *Store { return &Store{root: dir} }

// layOut makes all subfolders at once, so that storing bytes never has to sync
// more than the folder that they go to.
func (s *Store) layOut() error {
	if err := os.MkdirAll(s.root, dirMode); err != nil {
		return err
	}
	var made bool
	mkdir := func(name string) error {
		err := os.Mkdir(filepath.Join(s.root, name), dirMode)
		if errors.Is(err, fs.ErrExist) {
			return nil
		}
		made = true
		return err
	}
	err := errors.Join(mkdir(partDir), mkdir(quarantineDir))
	for i := range 256 {
		err = errors.Join(err, mkdir(fmt.Sprintf("%02x", i)))
	}
	if err != nil || !made {
		return err
	}
	return errors.Join(durable.SyncDir(s.root), durable.SyncDir(filepath.Dir(s.root)))
}

// Path gives where bytes of this hash lie, or would lie.
func (s *Store) Path(h record.Hash) string {
	name := h.String()
	return filepath.Join(s.root, name[:2], name)
}

// Syncs counts how often a file or folder was synced.
func (s *Store) Syncs() int64 { return s.syncs.Load() }

// Has implements blob.Store.
func (s *Store) Has(ctx context.Context, h record.Hash) (bool, int64, error) {
	if err := ctx.Err(); err != nil {
		return false, 0, err
	}
	fi, err := os.Lstat(s.Path(h))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, 0, nil
	case err != nil:
		return false, 0, unavailable("the stored bytes cannot be looked up", s.Path(h), err)
	case !fi.Mode().IsRegular():
		return false, 0, blob.Mismatch(h, "the name is taken by something that is no file")
	}
	return true, fi.Size(), nil
}

// Open implements blob.Store.
func (s *Store) Open(ctx context.Context, h record.Hash) (blob.Reader, int64, error) {
	if err := ctx.Err(); err != nil {
		return nil, 0, err
	}
	f, err := os.Open(s.Path(h))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, blob.Absent(h)
	}
	if err != nil {
		return nil, 0, unavailable("the stored bytes cannot be read", s.Path(h), err)
	}
	fi, err := f.Stat()
	if err != nil {
		return nil, 0, errors.Join(unavailable("the stored bytes cannot be read", s.Path(h), err), f.Close())
	}
	return newChecked(f, h), fi.Size(), nil
}

// Verify implements blob.Store.
func (s *Store) Verify(ctx context.Context, h record.Hash) error {
	f, _, err := s.Open(ctx, h)
	if err != nil {
		return err
	}
	_, err = io.Copy(io.Discard, withContext(ctx, f))
	return errors.Join(err, f.Close())
}

// Quarantined lists what was moved aside.
func (s *Store) Quarantined() ([]blob.Quarantined, error) {
	names, err := os.ReadDir(filepath.Join(s.root, quarantineDir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var all []blob.Quarantined
	for _, n := range names {
		fi, e := n.Info()
		if e != nil {
			err = errors.Join(err, e)
			continue
		}
		all = append(all, blob.Quarantined{Name: n.Name(), Size: fi.Size()})
	}
	return all, err
}

func unavailable(what, where string, err error) error {
	return &problem.Error{Code: problem.Unavailable, What: what, Where: where,
		Fix: "check that the disk is there, writable and not full", Err: err}
}

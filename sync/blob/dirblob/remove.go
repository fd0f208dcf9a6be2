package dirblob

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"thudbook/sync/durable"
	"thudbook/sync/record"
)

// Remove implements blob.Store. Transfers that somebody works on now are left:
// the next call finds what came of them.
func (s *Store) Remove(ctx context.Context, h record.Hash) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	path := s.Path(h)
	err := s.unlink(filepath.Dir(path), func(name string) bool { return name == h.String() })
	ofIt := func(name string) bool { return strings.Contains(name, h.String()) }
	err = errors.Join(err, s.unlink(filepath.Join(s.root, quarantineDir), ofIt))
	s.mu.Lock()
	defer s.mu.Unlock()
	dir := filepath.Join(s.root, partDir)
	return errors.Join(err, s.unlink(dir, func(name string) bool {
		return ofIt(name) && s.uploads[strings.TrimSuffix(filepath.Join(dir, name), noteSuffix)] == nil
	}))
}

// unlink removes files of a folder, and makes that durable.
func (s *Store) unlink(dir string, which func(name string) bool) error {
	names, err := os.ReadDir(dir)
	if err != nil {
		return unavailable("stored bytes cannot be erased", dir, err)
	}
	gone := false
	for _, n := range names {
		if !which(n.Name()) {
			continue
		}
		gone = true
		if e := os.Remove(filepath.Join(dir, n.Name())); e != nil && !errors.Is(e, fs.ErrNotExist) {
			err = errors.Join(err, unavailable("stored bytes cannot be erased", n.Name(), e))
		}
	}
	if !gone {
		return err
	}
	s.syncs.Add(1)
	if e := durable.SyncDir(dir); e != nil {
		err = errors.Join(err, unavailable("stored bytes cannot be erased durably", dir, e))
	}
	return err
}

package dirblob

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// sweepNow removes transfers that nobody went on with, once a day.
func (s *Store) sweepNow() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if time.Since(s.swept) < partAge {
		return
	}
	s.swept = time.Now()
	_ = s.sweep() // what cannot be removed now is tried again tomorrow
}

// sweep removes transfers and parts that were left alone for too long.
func (s *Store) sweep() error {
	dir := filepath.Join(s.root, partDir)
	parts, err := os.ReadDir(dir)
	for _, p := range parts {
		fi, e := p.Info()
		if e != nil {
			continue
		}
		limit := partAge
		if strings.HasPrefix(p.Name(), uploadPrefix) {
			limit = uploadAge
		}
		path := filepath.Join(dir, p.Name())
		if time.Since(fi.ModTime()) <= limit || s.uploads[strings.TrimSuffix(path, noteSuffix)] != nil {
			continue
		}
		if e := os.Remove(path); e != nil && !errors.Is(e, fs.ErrNotExist) {
			err = errors.Join(err, e)
		}
	}
	return err
}

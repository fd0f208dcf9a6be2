package intake

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"thudbook/metrics/chanmap"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

const maxMapBytes = 1 << 20

// Map is a channel map together with the bytes it was read from.
type Map struct {
	*chanmap.Map
	Name  string // file name without folder
	Bytes []byte
	Hash  record.Hash
}

// ParseMap reads a channel map from its bytes. Errors name line and fix.
func ParseMap(name string, b []byte) (*Map, error) {
	m, err := chanmap.Parse(bytes.NewReader(b), name)
	if err != nil {
		return nil, err
	}
	return &Map{Map: m, Name: filepath.Base(name), Bytes: b, Hash: sha256.Sum256(b)}, nil
}

// LoadMap reads a channel map from a file.
func LoadMap(path string) (*Map, error) {
	return readMap(path, func() (*os.File, error) { return os.Open(path) })
}

func readMap(path string, open func() (*os.File, error)) (*Map, error) {
	f, err := open()
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxMapBytes+1))
	if err != nil {
		return nil, err
	}
	if len(b) > maxMapBytes {
		return nil, fmt.Errorf("%s is larger than %d bytes; a channel map is a short text file", path, maxMapBytes)
	}
	return ParseMap(path, b)
}

// mapFile follows one map on disk and reads it again when it changed.
type mapFile struct {
	path     string
	required bool // named by the caller: it may lie anywhere, and its absence is an error
	size     int64
	mod      time.Time
	cur      *Map
	err      error
}

func mapFor(dir, given string) *mapFile {
	if given != "" {
		return &mapFile{path: given, required: true}
	}
	return &mapFile{path: filepath.Join(dir, MapName)}
}

// look gives the map as it stands now; nil without an error means that there
// is none and that channels are guessed.
// A map in a watched folder is opened through r, which may be nil otherwise.
func (m *mapFile) look(r *reach) (*Map, error) {
	info, open, err := m.find(r)
	if errors.Is(err, fs.ErrNotExist) && !m.required {
		m.cur, m.err, m.mod = nil, nil, time.Time{}
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if info.Size() == m.size && info.ModTime().Equal(m.mod) {
		return m.cur, m.err
	}
	m.cur, m.err = readMap(m.path, open)
	m.size, m.mod = info.Size(), info.ModTime()
	return m.cur, m.err
}

func (m *mapFile) find(r *reach) (info fs.FileInfo, open func() (*os.File, error), err error) {
	if m.required {
		info, err = os.Stat(m.path)
		return info, func() (*os.File, error) { return os.Open(m.path) }, err
	}
	at, info, err := r.find(MapName)
	if p, ok := problem.As(err); ok {
		p.What, p.Fix = MapName+" is "+p.What, "Copy the map itself into the folder, or name it with --map."
	}
	return info, func() (*os.File, error) { return r.open(at) }, err
}

// MapTrouble notes that the map that should have held could not be read; the
// channels are then guessed.
func (s *Submission) MapTrouble(err error) {
	s.Map = nil
	s.notes = append(s.notes, note{lab.FlagMapUnreadable, "the channel map cannot be used, the channels were guessed: " + sentence(err)})
}

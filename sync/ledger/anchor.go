package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"thudbook/sync/durable"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// The anchor file: two slots, written in turn, each
//
//	magic[8] counter[8] node[16] n[4] n x (lab[16] epoch[4] seq[8] hash[32]) crc32c[4]
//
// with big-endian numbers. The good slot with the higher counter counts. A torn
// write spoils only the slot that was being written; the other is one step older.
const (
	anchorMagic  = "thudanc1"
	anchorSlot   = 256 << 10
	anchorHeader = 8 + 8 + 16 + 4
	anchorWidth  = 16 + 4 + 8 + 32
	maxAnchored  = (anchorSlot - anchorHeader - 4) / anchorWidth
)

// DefaultAnchor gives where the anchor of a data folder lies by default.
func DefaultAnchor(dir string) string { return filepath.Join(dir, "anchor") }

// anchorEntry is the last known end of the open own origin of a lab.
type anchorEntry struct {
	Epoch uint32
	record.Head
}

func (e anchorEntry) after(b anchorEntry) bool {
	return e.Epoch > b.Epoch || e.Epoch == b.Epoch && e.Seq > b.Seq
}

// anchor writes the anchor file. One write covers everybody who waits.
type anchor struct {
	path string
	node record.NodeID

	mu   sync.Mutex // guards want
	want map[record.LabID]anchorEntry

	io      sync.Mutex // guards the rest
	f       *os.File
	counter uint64
	have    map[record.LabID]anchorEntry
	syncs   atomic.Int64
}

// anchorFile is what a file says.
type anchorFile struct {
	node    record.NodeID
	counter uint64
	entries map[record.LabID]anchorEntry
}

// errNoAnchor: there is no anchor file; errBadAnchor: neither slot is good.
var (
	errNoAnchor  = errors.New("there is no anchor file")
	errBadAnchor = errors.New("the anchor file is damaged")
)

func readAnchor(path string) (anchorFile, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return anchorFile{}, errNoAnchor
	}
	if err != nil {
		return anchorFile{}, &problem.Error{Code: problem.Unavailable, What: "the anchor file cannot be read", Where: path,
			Fix: "check the folder and its rights", Err: err}
	}
	var best anchorFile
	for at := 0; at < 2*anchorSlot && at < len(b); at += anchorSlot {
		if a, ok := decodeSlot(b[at:min(at+anchorSlot, len(b))]); ok && a.counter > best.counter {
			best = a
		}
	}
	if best.counter == 0 {
		return anchorFile{}, errBadAnchor
	}
	return best, nil
}

func decodeSlot(b []byte) (anchorFile, bool) {
	if len(b) < anchorHeader+4 || string(b[:8]) != anchorMagic {
		return anchorFile{}, false
	}
	n := int(binary.BigEndian.Uint32(b[32:36]))
	end := anchorHeader + n*anchorWidth
	if n > maxAnchored || len(b) < end+4 || binary.BigEndian.Uint32(b[end:]) != crc32.Checksum(b[:end], crc32.MakeTable(crc32.Castagnoli)) {
		return anchorFile{}, false
	}
	a := anchorFile{
		counter: binary.BigEndian.Uint64(b[8:16]), node: record.NodeID(b[16:32]),
		entries: make(map[record.LabID]anchorEntry, n),
	}
	for e := range slices.Chunk(b[anchorHeader:end], anchorWidth) {
		a.entries[record.LabID(e[:16])] = anchorEntry{
			Epoch: binary.BigEndian.Uint32(e[16:20]),
			Head:  record.Head{Seq: binary.BigEndian.Uint64(e[20:28]), Hash: record.Hash(e[28:60])},
		}
	}
	return a, true
}

func (a anchorFile) encode() []byte {
	b := make([]byte, 0, anchorHeader+len(a.entries)*anchorWidth+4)
	b = append(b, anchorMagic...)
	b = binary.BigEndian.AppendUint64(b, a.counter)
	b = append(b, a.node[:]...)
	b = binary.BigEndian.AppendUint32(b, uint32(len(a.entries)))
	for _, lab := range sortedLabs(a.entries) {
		e := a.entries[lab]
		b = append(b, lab[:]...)
		b = binary.BigEndian.AppendUint32(b, e.Epoch)
		b = binary.BigEndian.AppendUint64(b, e.Seq)
		b = append(b, e.Hash[:]...)
	}
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)))
}

// createAnchor writes a whole new file under another name and renames it. An
// existing one is kept under a name of its own.
func createAnchor(path string, a anchorFile) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	part := path + ".new"
	f, err := os.OpenFile(part, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	a.counter = 1
	// Both slots get their first block now, so that later writes replace bytes
	// in place and one data sync makes them durable.
	first, second := make([]byte, 4096), make([]byte, 4096)
	b := a.encode()
	first = append(b, first[min(len(b), len(first)):]...)
	_, e1 := f.WriteAt(first, 0)
	_, e2 := f.WriteAt(second, anchorSlot)
	if err := errors.Join(e1, e2, f.Sync(), f.Close()); err != nil {
		return err
	}
	if _, err := os.Lstat(path); err == nil {
		if err := durable.Rename(path, fmt.Sprintf("%s.damaged-%d", path, time.Now().UnixNano())); err != nil {
			return err
		}
	}
	if err := durable.Rename(part, path); err != nil {
		return err
	}
	return durable.SyncDir(filepath.Dir(path))
}

// openAnchor opens the file for writing; a is what was read from it.
func openAnchor(path string, a anchorFile) (*anchor, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, &problem.Error{Code: problem.Unavailable, What: "the anchor file cannot be written", Where: path,
			Fix: "check the folder and its rights", Err: err}
	}
	return &anchor{path: path, node: a.node, f: f, counter: a.counter,
		want: maps.Clone(a.entries), have: maps.Clone(a.entries)}, nil
}

// raise returns when the file knows the entry, or a later one.
func (a *anchor) raise(lab record.LabID, e anchorEntry) error {
	a.mu.Lock()
	if e.after(a.want[lab]) {
		a.want[lab] = e
	}
	a.mu.Unlock()

	a.io.Lock()
	defer a.io.Unlock()
	if !e.after(a.have[lab]) {
		return nil // whoever wrote while we waited took ours along
	}
	a.mu.Lock()
	next := maps.Clone(a.want)
	a.mu.Unlock()
	if len(next) > maxAnchored {
		return fmt.Errorf("more than %d labs for one node", maxAnchored)
	}
	if a.f == nil {
		return fs.ErrClosed
	}
	a.counter++
	b := anchorFile{node: a.node, counter: a.counter, entries: next}.encode()
	// Counter 1 is in the first slot, 2 in the second, and so on.
	if _, err := a.f.WriteAt(b, int64((a.counter+1)%2)*anchorSlot); err != nil {
		return err
	}
	a.syncs.Add(1)
	if err := dataSync(a.f); err != nil {
		return err
	}
	a.have = next
	return nil
}

func (a *anchor) close() error {
	a.io.Lock()
	defer a.io.Unlock()
	if a.f == nil {
		return nil
	}
	f := a.f
	a.f = nil
	return f.Close()
}

// AnchorSyncs counts how often the anchor file was synced.
func (l *Ledger) AnchorSyncs() int64 {
	l.gate.RLock()
	defer l.gate.RUnlock()
	return l.anchor.syncs.Load()
}

package boltkv

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"

	"thudbook/sync/kv"
)

// ErrCircle: pages of the file lead to one another in circles, or two lead to
// one. bbolt would follow them for ever.
var ErrCircle = errors.New("pages of the store lead in circles")

// The layout of a bbolt file (go.etcd.io/bbolt v1.5.0, internal/common): a page
// begins with id[8] flags[2] count[2] overflow[4]; a branch entry is pos[4]
// ksize[4] page[8], a leaf entry flags[4] pos[4] ksize[4] vsize[4], pos counted
// from the entry. A bucket's value begins with its root page, 0 for one that is
// kept within the value. The meta page: magic[4] version[4] page size[4] flags[4]
// root[8] sequence[8] freelist[8] high-water[8] transaction[8] checksum[8].
const (
	pageHeader   = 16
	branchFlag   = 1
	leafFlag     = 2
	branchEntry  = 16
	leafEntry    = 16
	bucketFlag   = 1
	metaMagic    = 0xED0CDAED
	metaSum      = 56
	maxPageBytes = 1 << 30
)

// walkPages goes over a file's pages without bbolt, never the same one twice,
// and gives every entry of every table that it can reach. What it cannot make
// sense of it leaves to bbolt, whose word counts; the error is ErrCircle or one
// of the system.
func walkPages(path string, take func(t kv.Table, key, value []byte)) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	w := pageWalk{f: f, size: int64(os.Getpagesize()), seen: make(map[uint64]bool), take: take}
	root, ok := w.root()
	if ok {
		err = w.walk("", root)
		if err == nil && w.twice > 0 {
			err = fmt.Errorf("%w: page %d is reached twice", ErrCircle, w.twice)
		}
	}
	return errors.Join(err, f.Close())
}

type pageWalk struct {
	f     *os.File
	size  int64
	seen  map[uint64]bool
	twice uint64
	take  func(kv.Table, []byte, []byte)
}

// root gives the root page of the newest good meta page.
func (w *pageWalk) root() (uint64, bool) {
	var best, root uint64
	found := false
	for i := range int64(2) {
		b := make([]byte, pageHeader+metaSum+8)
		if _, err := w.f.ReadAt(b, i*w.size); err != nil {
			continue
		}
		m := b[pageHeader:]
		sum := fnv.New64a()
		sum.Write(m[:metaSum])
		if binary.LittleEndian.Uint32(m) != metaMagic || binary.LittleEndian.Uint64(m[metaSum:]) != sum.Sum64() {
			continue
		}
		w.size = int64(binary.LittleEndian.Uint32(m[8:]))
		if tx := binary.LittleEndian.Uint64(m[48:]); !found || tx > best {
			best, root, found = tx, binary.LittleEndian.Uint64(m[16:]), true
		}
	}
	return root, found && w.size >= 512
}

// walk goes over one tree of pages; table is empty for the tree of tables.
func (w *pageWalk) walk(table kv.Table, root uint64) error {
	for todo := []uint64{root}; len(todo) > 0; {
		id := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if w.seen[id] {
			w.twice = id
			continue
		}
		w.seen[id] = true
		b, err := w.page(id)
		if err != nil {
			return err
		}
		if len(b) < pageHeader {
			continue
		}
		n := int(binary.LittleEndian.Uint16(b[10:]))
		switch binary.LittleEndian.Uint16(b[8:]) {
		case branchFlag:
			for i := range n {
				if at := pageHeader + i*branchEntry; at+branchEntry <= len(b) {
					todo = append(todo, binary.LittleEndian.Uint64(b[at+8:]))
				}
			}
		case leafFlag:
			if err := w.leaf(table, b, n); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *pageWalk) leaf(table kv.Table, b []byte, n int) error {
	for i := range n {
		at := pageHeader + i*leafEntry
		if at+leafEntry > len(b) {
			return nil
		}
		flags := binary.LittleEndian.Uint32(b[at:])
		k := at + int(binary.LittleEndian.Uint32(b[at+4:]))
		v := k + int(binary.LittleEndian.Uint32(b[at+8:]))
		end := v + int(binary.LittleEndian.Uint32(b[at+12:]))
		if k > v || v > end || end > len(b) {
			continue
		}
		switch key, value := b[k:v], b[v:end]; {
		case flags&bucketFlag == 0:
			w.take(table, key, value)
		case table != "" || len(value) < 16:
			// no table holds tables
		case binary.LittleEndian.Uint64(value) == 0:
			if in := value[16:]; len(in) >= pageHeader {
				if err := w.leaf(kv.Table(key), in, int(binary.LittleEndian.Uint16(in[10:]))); err != nil {
					return err
				}
			}
		default:
			if err := w.walk(kv.Table(key), binary.LittleEndian.Uint64(value)); err != nil {
				return err
			}
		}
	}
	return nil
}

// page reads a page with what runs over into the next ones; nil beyond the file.
func (w *pageWalk) page(id uint64) ([]byte, error) {
	if id > 1<<40 {
		return nil, nil
	}
	head := make([]byte, pageHeader)
	if _, err := w.f.ReadAt(head, int64(id)*w.size); err != nil {
		if err == io.EOF {
			err = nil
		}
		return nil, err
	}
	n := (int64(binary.LittleEndian.Uint32(head[12:])) + 1) * w.size
	if n > maxPageBytes {
		n = w.size
	}
	fi, err := w.f.Stat()
	if err != nil {
		return nil, err
	}
	b := make([]byte, min(n, max(0, fi.Size()-int64(id)*w.size)))
	_, err = w.f.ReadAt(b, int64(id)*w.size)
	if err == io.EOF {
		err = nil
	}
	return b, err
}

// Circle looks for pages that lead in circles: nil when there are none, so that
// the file may be given to bbolt. take is given what can be reached all the same.
func Circle(path string, take func(t kv.Table, key, value []byte)) error {
	err := walkPages(path, take)
	if errors.Is(err, ErrCircle) {
		return damaged(path, err)
	}
	return err
}

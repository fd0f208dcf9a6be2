//go:build linux

package crashimage

import (
	"bytes"
	"math/rand/v2"
	"path/filepath"
	"slices"
)

// inode is a file or a folder.
type inode struct {
	dir     bool
	durable []byte
	pending []op  // writes and truncations since the last sync
	at      int64 // where the next plain write goes
}

// nameOp is a change of names that is not yet durable.
type nameOp struct {
	kind     opKind
	from, to string
	node     *inode
}

func (n *nameOp) names() []string {
	switch n.kind {
	case opRename:
		return []string{n.from, n.to}
	case opUnlink:
		return []string{n.from}
	}
	return []string{n.to}
}

// folder is the one whose sync makes the change durable.
func (n *nameOp) folder() string {
	if n.kind == opUnlink {
		return filepath.Dir(n.from)
	}
	return filepath.Dir(n.to)
}

func (n *nameOp) apply(names map[string]*inode) {
	switch n.kind {
	case opRename:
		delete(names, n.from)
		names[n.to] = n.node
	case opUnlink:
		delete(names, n.from)
	default:
		names[n.to] = n.node
	}
}

// disk is what is durable, and what is on its way. A sync makes durable what
// POSIX promises and no more: of a file its bytes, of a folder its names.
type disk struct {
	live, durable map[string]*inode
	pending       []nameOp
	deaf          bool // syncs do nothing
}

func newDisk() *disk {
	return &disk{live: map[string]*inode{}, durable: map[string]*inode{}}
}

func (d *disk) do(o *op) {
	node := d.live[o.path]
	switch o.kind {
	case opCreate:
		if node != nil {
			return
		}
		d.name(nameOp{kind: opCreate, to: o.path, node: &inode{}})
	case opMkdir:
		if node == nil {
			d.name(nameOp{kind: opMkdir, to: o.path, node: &inode{dir: true}})
		}
	case opRename, opLink:
		if node != nil {
			d.name(nameOp{kind: o.kind, from: o.path, to: o.to, node: node})
		}
	case opUnlink:
		if node != nil {
			d.name(nameOp{kind: opUnlink, from: o.path, node: node})
		}
	case opWrite, opTruncate:
		if node == nil {
			return // not a file: a device, a pipe
		}
		w := *o
		if w.kind == opWrite && w.off < 0 {
			w.off = node.at
			node.at += int64(len(w.data))
		}
		node.pending = append(node.pending, w)
	case opSync:
		d.sync(o.path, node)
	}
}

func (d *disk) name(n nameOp) {
	n.apply(d.live)
	d.pending = append(d.pending, n)
}

func (d *disk) sync(path string, node *inode) {
	if d.deaf {
		return
	}
	if node != nil && !node.dir {
		node.durable = node.content(func() bool { return true }, 1<<30)
		node.pending = nil
		return
	}
	// The names in this folder, and whatever earlier changes they rest on.
	need := map[string]bool{}
	take := make([]bool, len(d.pending))
	for i := len(d.pending) - 1; i >= 0; i-- {
		n := &d.pending[i]
		take[i] = n.folder() == path || slices.ContainsFunc(n.names(), func(s string) bool { return need[s] })
		if take[i] {
			for _, s := range n.names() {
				need[s] = true
			}
		}
	}
	kept := d.pending[:0:0]
	for i := range d.pending {
		if take[i] {
			d.pending[i].apply(d.durable)
		} else {
			kept = append(kept, d.pending[i])
		}
	}
	d.pending = kept
}

// content gives what the file holds when keep decides which pieces of unit
// bytes of its unsynced writes got to the disk.
func (n *inode) content(keep func() bool, unit int64) []byte {
	if len(n.pending) == 0 {
		return n.durable
	}
	b := bytes.Clone(n.durable)
	for i := range n.pending {
		o := &n.pending[i]
		if o.kind == opTruncate {
			if keep() {
				b = resize(b, o.off)
			}
			continue
		}
		for from := int64(0); from < int64(len(o.data)); {
			size := min(unit-(o.off+from)%unit, int64(len(o.data))-from)
			if keep() {
				if end := o.off + from + size; end > int64(len(b)) {
					b = resize(b, end)
				}
				copy(b[o.off+from:], o.data[from:from+size])
			}
			from += size
		}
	}
	return b
}

func resize(b []byte, size int64) []byte {
	if size <= int64(len(b)) {
		return b[:size]
	}
	return append(b, make([]byte, size-int64(len(b)))...)
}

// image is what a power cut leaves.
type image struct {
	names map[string]*inode
	bytes map[string][]byte // of the files that are not wholly durable
}

// cut gives an image: each unsynced piece is there with probability p.
func (d *disk) cut(rng *rand.Rand) image {
	p := rng.Float64()
	switch rng.IntN(6) {
	case 0:
		p = 0
	case 1:
		p = 1
	}
	unit := []int64{512, 4096}[rng.IntN(2)]
	keep := func() bool { return rng.Float64() < p }
	im := image{names: make(map[string]*inode, len(d.durable)), bytes: map[string][]byte{}}
	for path, n := range d.durable {
		im.names[path] = n
	}
	lost := map[string]bool{}
	for i := range d.pending {
		n := &d.pending[i]
		if slices.ContainsFunc(n.names(), func(s string) bool { return lost[s] }) || !keep() {
			for _, s := range n.names() {
				lost[s] = true
			}
			continue
		}
		n.apply(im.names)
	}
	paths := make([]string, 0, 8)
	for path, n := range im.names {
		if len(n.pending) > 0 {
			paths = append(paths, path)
		}
	}
	slices.Sort(paths) // so that a seed gives one image
	done := map[*inode][]byte{}
	for _, path := range paths {
		n := im.names[path]
		if _, ok := done[n]; !ok {
			done[n] = n.content(keep, unit)
		}
		im.bytes[path] = done[n]
	}
	return im
}

// there tells whether a path and the folders above it, below root, are there.
func (im *image) there(root, path string) bool {
	for ; path != root; path = filepath.Dir(path) {
		if im.names[path] == nil {
			return false
		}
	}
	return true
}

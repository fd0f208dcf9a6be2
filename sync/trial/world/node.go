package world

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/trial/memblob"
	"thudbook/sync/trial/memkv"
	"thudbook/sync/view"
)

// node is an agent or a server with its disk.
type node struct {
	w      *World
	name   string
	id     record.NodeID
	key    ed25519.PrivateKey
	labs   []record.LabID
	server bool
	dir    string

	disk    *memkv.Disk
	blobs   *memblob.Store
	store   *memkv.Store
	views   *view.Set
	ledger  *ledger.Ledger
	service *exchange.Service
	batch   exchange.BatchSize

	offset  time.Duration // of the clock
	latest  time.Time     // the greatest time that the clock ever showed
	fault   memkv.Outcome // of the next commit
	full    bool
	backups []backup
	behind  *memkv.Disk // with lying disks: what is there after a restart

	acked  map[record.Ref]record.Hash // said to be durable here
	kept   map[record.Hash]bool       // the same, of records that were carried over since
	at     map[record.Ref]record.Hash // what was read and checked
	stamps map[record.Origin]record.Record
	heads  map[record.Origin]record.Head
	moved  map[record.Ref]record.Hash // of a carrier: the record in it
	told   int                        // notices of two histories
	skips  int
}

// backup is a copy of a node's folder.
type backup struct {
	disk   *memkv.Disk
	blobs  *memblob.Store
	anchor []byte
	acked  map[record.Ref]record.Hash
	kept   map[record.Hash]bool
	own    map[record.LabID]record.Origin
}

// era is how far the trial lies behind the time at which virtual time begins, so
// that a clock which stands right shows a year that can be.
const era = 9620 * 24 * time.Hour

// jump is how far a clock that is off by a little is off, at most.
const jump = 10 * time.Minute

// present is what a clock shows that stands right.
func present() time.Time { return time.Now().Add(era) }

func (n *node) now() time.Time {
	t := time.Now().Add(n.offset)
	if t.After(n.latest) {
		n.latest = t
	}
	return t
}

func (n *node) wipe() {
	n.disk, n.blobs = &memkv.Disk{}, &memblob.Store{}
	n.acked, n.kept = map[record.Ref]record.Hash{}, map[record.Hash]bool{}
	n.forget()
}

// forget makes the next check read everything again.
func (n *node) forget() {
	n.at = map[record.Ref]record.Hash{}
	n.stamps = map[record.Origin]record.Record{}
	n.heads = map[record.Origin]record.Head{}
	n.moved = map[record.Ref]record.Hash{}
}

func (n *node) anchor() string { return ledger.DefaultAnchor(n.dir) }

// outcome is the store's fault hook.
func (n *node) outcome() memkv.Outcome {
	if n.full {
		return memkv.Refuse
	}
	how := n.fault
	n.fault = memkv.Good
	if n.w.o.Lying && how == memkv.Good {
		n.behind = n.disk.Clone() // the commit before this one
	}
	return how
}

// open starts the node on its disk.
func (n *node) open() error {
	if err := n.folder(); err != nil {
		return err
	}
	n.store = memkv.Open(n.disk)
	n.store.Outcome = n.outcome
	n.blobs.Full = func() bool { return n.full }
	n.views = view.New()
	var err error
	n.ledger, err = ledger.Open(n.w.ctx, ledger.Options{Dir: n.dir, Node: n.id, Key: n.key, Store: n.store, Blobs: n.blobs,
		Views: n.views, Now: n.now, Software: "trial", Skip: n.skip})
	if err != nil {
		return fmt.Errorf("open %s: %w", n.name, err)
	}
	if n.server {
		n.service, err = exchange.NewService(n.w.ctx, exchange.ServiceOptions{Ledger: n.ledger, Blobs: n.blobs, Store: n.store, Key: n.key, Now: n.now})
	}
	return err
}

// restart ends the node, as a crash does, and starts it again. Faults of the
// disk are over then.
func (n *node) restart() error {
	if n.ledger != nil {
		if err := n.ledger.Close(); err != nil {
			return fmt.Errorf("close %s: %w", n.name, err)
		}
	}
	n.fault, n.full = memkv.Good, false
	if n.w.o.Lying && n.behind != nil {
		n.disk, n.behind = n.behind, nil
	}
	if err := n.open(); err != nil {
		return err
	}
	n.forget()
	return n.check(true)
}

// append writes a few facts of a shot, with its source.
func (n *node) append(id record.LabID, shots int, size int) error {
	var drafts []ledger.Draft
	for range shots {
		n.w.number++
		k := n.w.number
		ref, err := n.blobs.Put(n.w.ctx, strings.NewReader(strings.Repeat(fmt.Sprintf("%d;", k), size)), 0)
		if err != nil {
			return err
		}
		n.w.content[id][ref.SHA256] = true
		body, err := n.shot(k, ref.SHA256)
		if err != nil {
			return err
		}
		body.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleSource, Media: "text/csv", Name: fmt.Sprintf("%d.csv", k)}}
		drafts = append(drafts, body)
		if k%4 == 0 {
			drafts = append(drafts, ledger.Draft{Kind: "trial.unknown", Schema: 7, UID: n.w.id("unknown", k), Body: []byte{0xa0}})
		}
	}
	recs, err := n.ledger.Append(n.w.ctx, id, drafts...)
	for i := range recs {
		n.acked[recs[i].Ref()] = recs[i].Hash
	}
	return err
}

func (n *node) shot(k int, source record.Hash) (ledger.Draft, error) {
	rig := n.w.id("rig", n.name)
	at := lab.At(n.w.begin.Add(time.Duration(k) * time.Second))
	speed := 5.5
	var body lab.Body = &lab.Shot{Rig: rig, FileName: fmt.Sprintf("%d.csv", k), FileTime: at, SourceSHA256: source,
		EffectiveAt: at, EffectiveFrom: lab.FromMeta, Kind: lab.ShotHit,
		Meta: lab.Meta{Specimen: "H-01", Location: "front", Condition: "ambient", TargetSpeedMS: &speed, FiredAt: at, Operator: "op-1"}}
	uid := n.w.id("shot", k)
	if k%5 == 0 { // the same document from every node: who wins must not depend on the order
		body, uid = &lab.Rig{Name: fmt.Sprintf("Rig %d", k)}, n.w.id("rig", "shared")
	}
	kind, schema, b, err := lab.Encode(body)
	return ledger.Draft{Kind: kind, Schema: schema, Author: "tester", UID: uid, Body: b}, err
}

// save keeps a copy of the folder.
func (n *node) save() error {
	b := backup{disk: n.disk.Clone(), blobs: n.blobs.Clone(), acked: maps.Clone(n.acked), kept: maps.Clone(n.kept), own: n.own()}
	var err error
	if b.anchor, err = os.ReadFile(n.anchor()); err != nil {
		return err
	}
	n.backups = append(n.backups, b)
	return nil
}

func (n *node) own() map[record.LabID]record.Origin {
	own := map[record.LabID]record.Origin{}
	for _, id := range n.labs {
		own[id] = n.ledger.Own(id)
	}
	return own
}

// How a backup comes back.
const (
	storeOnly  = "the store alone, the anchor is newer"
	noAnchor   = "without an anchor"
	wholeImage = "the whole image, anchor too"
	nothing    = "nothing: the folder was emptied"
)

// restore sets the folder back.
func (n *node) restore(b backup, how string) error {
	before := n.own()
	if err := n.ledger.Close(); err != nil {
		return err
	}
	n.wipe()
	n.fault, n.full, n.behind = memkv.Good, false, nil
	if how != nothing {
		n.disk, n.blobs, n.acked, n.kept = b.disk.Clone(), b.blobs.Clone(), maps.Clone(b.acked), maps.Clone(b.kept)
	}
	var err error
	switch how {
	case wholeImage:
		err = writeAnchor(n.anchor(), b.anchor)
	case noAnchor, nothing:
		err = os.Remove(n.anchor())
		if errors.Is(err, fs.ErrNotExist) {
			err = nil
		}
	}
	if err != nil {
		return err
	}
	if n.server {
		s := memkv.Open(n.disk)
		if _, err := exchange.NewIncarnation(n.w.ctx, s); err != nil {
			return err
		}
	}
	if err := n.open(); err != nil {
		return err
	}
	for id, o := range n.own() {
		n.w.setBack[line{n.id, id}] = true
		switch {
		case how == wholeImage, how == nothing:
			n.w.fork(line{n.id, id}, o.Epoch)
		case how == noAnchor && o == b.own[id]: // nothing was in it yet: as new
			n.w.fork(line{n.id, id}, o.Epoch)
		case how == noAnchor && before[id].Epoch > b.own[id].Epoch:
			n.w.fork(line{n.id, id}, b.own[id].Epoch+1)
		}
	}
	return n.check(true)
}

func writeAnchor(path string, b []byte) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return os.WriteFile(path, b, 0o600)
}

// fork notes that a chain may be written twice from an epoch on.
func (w *World) fork(l line, epoch uint32) {
	if old, ok := w.forks[l]; !ok || epoch < old {
		w.forks[l] = epoch
	}
}

func (w *World) forked(o record.Origin) bool {
	from, ok := w.forks[line{o.Node, o.Lab}]
	return ok && o.Epoch >= from
}

// clone makes a second machine out of a copy of the folder.
func (n *node) clone() (*node, error) {
	if err := n.save(); err != nil {
		return nil, err
	}
	b := n.backups[len(n.backups)-1]
	c := n.w.newNode(n.name+"-copy", n.labs, false)
	c.id, c.key, c.offset, c.latest = n.id, n.key, n.offset, n.latest
	c.disk, c.blobs, c.acked, c.kept = b.disk.Clone(), b.blobs.Clone(), maps.Clone(b.acked), maps.Clone(b.kept)
	if err := c.folder(); err != nil {
		return nil, err
	}
	if err := writeAnchor(c.anchor(), b.anchor); err != nil {
		return nil, err
	}
	if err := c.open(); err != nil {
		return nil, err
	}
	for id, o := range c.own() {
		n.w.fork(line{n.id, id}, o.Epoch)
	}
	return c, c.check(true)
}

// describe gives what the trace keeps of a node.
func (n *node) describe() string {
	heads, err := n.ledger.Heads(n.w.ctx)
	if err != nil {
		return "  " + n.name + " cannot tell its heads: " + class(err)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "  %s", n.name)
	for _, o := range origins(heads) {
		fmt.Fprintf(&b, " %s/%s/%d:%d=%.8s", n.w.short(o.Node), n.w.short(o.Lab), o.Epoch, heads[o].Seq, heads[o].Hash)
	}
	return b.String()
}

// short gives the name behind an id.
func (w *World) short(id uuid.UUID) string {
	for i, l := range w.labs {
		if l == id {
			return fmt.Sprintf("lab%d", i+1)
		}
	}
	for _, n := range w.nodes() {
		if n.id == id {
			return n.name
		}
	}
	return id.String()[:8]
}

// class names an error by its kind, without what is random in its words.
func class(err error) string {
	switch {
	case err == nil:
		return "ok"
	case errors.Is(err, errCut):
		return "cut"
	case errors.Is(err, context.Canceled):
		return "canceled"
	case problem.Of(err) != "":
		return string(problem.Of(err))
	}
	return "error"
}

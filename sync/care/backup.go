package care

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/blob/dirblob"
	"thudbook/sync/durable"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Node is what a backup is made of, running or not.
type Node struct {
	ID       record.NodeID
	Dir      string
	Store    Snapshotter
	Blobs    blob.Store
	Software string
	Now      func() time.Time
	// Skip tells of paths within Dir, with slashes, that are no part of what is
	// kept: the store and the attachments, which are copied in their own way,
	// and files that belong to the running process or the disk they lie on.
	Skip func(path string) bool
}

// BackupReport says what a run did.
type BackupReport struct {
	To             string   `json:"to"`
	Manifest       Manifest `json:"manifest"`
	NewPageBytes   int64    `json:"new_page_bytes"`
	NewAttachments int64    `json:"new_attachments"`
	NewBytes       int64    `json:"new_bytes"` // of attachments
	Damaged        []string `json:"damaged"`   // at the node: not in the backup
}

// String gives the report as lines of text.
func (r *BackupReport) String() string {
	var b strings.Builder
	m := &r.Manifest
	fmt.Fprintf(&b, "backup %d of node %s in %s\n", m.Run, m.Node, r.To)
	fmt.Fprintf(&b, "it holds %d records of %d origins, %d attachments (%d bytes), %d further files\n", m.Records, len(m.Heads), m.Attachments, m.AttachmentBytes, len(m.Files))
	fmt.Fprintf(&b, "written and read back this time: %d bytes of the store (of %d), %d attachments (%d bytes)\n", r.NewPageBytes, m.StoreBytes, r.NewAttachments, r.NewBytes)
	for _, d := range r.Damaged {
		fmt.Fprintf(&b, "found at the node: %s\n", d)
	}
	b.WriteString("It holds the node's private key: keep it as safe as the node itself.\n")
	return b.String()
}

// Class gives what the run found at the node.
func (r *BackupReport) Class() Class {
	if len(r.Damaged) > 0 {
		return Damaged
	}
	return OK
}

// Backup writes what a node holds to a folder: the store first, as one
// transaction sees it, then attachments, which lie there before the record that
// names them. A second run writes what is new. What was written is read back.
// The list of what the backup holds is replaced last, so that an interrupted run
// leaves the backup before it as it was.
func Backup(ctx context.Context, n Node, to string) (*BackupReport, error) {
	last, err := prepare(n, to)
	if err != nil {
		return nil, err
	}
	rep := &BackupReport{To: to}
	m := &rep.Manifest
	*m = Manifest{Version: manifestVersion, Made: n.Now().UTC(), Software: n.Software, Node: n.ID, Run: 1, ChunkBytes: chunkSize}
	if last != nil {
		m.Run = last.Run + 1
	}
	if err := storePages(ctx, n, to, last, rep); err != nil {
		return nil, cannotBackUp(to, err)
	}
	dst, err := dirblob.Open(filepath.Join(to, attachmentsDir))
	if err != nil {
		return nil, err
	}
	if err := attachmentsTo(ctx, n, dst, rep); err != nil {
		return nil, cannotBackUp(to, err)
	}
	if err := filesTo(ctx, n, dst, m); err != nil {
		return nil, cannotBackUp(to, err)
	}
	if err := m.write(to); err != nil {
		return nil, cannotBackUp(to, err)
	}
	dropOldPages(to, m)
	return rep, nil
}

func cannotBackUp(to string, err error) error {
	if problem.Of(err) != problem.Internal || errors.Is(err, context.Canceled) {
		return err
	}
	return &problem.Error{Code: problem.Unavailable, What: "the backup could not be finished; the one before, if any, is as it was", Where: to,
		Fix: "see that the folder has room and is writable, then run it again: what is written already counts", Err: err}
}

// prepare makes the folder or checks that it is this node's.
func prepare(n Node, to string) (*Manifest, error) {
	if within(to, n.Dir) || within(n.Dir, to) {
		return nil, problem.New(problem.Invalid, "the backup and the data folder lie one inside the other: "+to, "choose a folder elsewhere, best on another disk")
	}
	if err := MakeFolder(to); err != nil {
		return nil, cannotBackUp(to, err)
	}
	owner := filepath.Join(to, ownerName)
	b, err := os.ReadFile(owner)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		names, err := os.ReadDir(to)
		if err != nil {
			return nil, cannotBackUp(to, err)
		}
		if len(names) > 0 {
			return nil, problem.New(problem.Invalid, "the folder "+to+" holds other things than a backup", "give an empty folder, or one of an earlier backup of this node")
		}
		if err := durable.Replace(owner, []byte(n.ID.String()+"\n")); err != nil {
			return nil, cannotBackUp(to, err)
		}
		return nil, nil
	case err != nil:
		return nil, cannotBackUp(to, err)
	case strings.TrimSpace(string(b)) != n.ID.String():
		return nil, problem.New(problem.Invalid, "the folder "+to+" holds backups of another node, "+strings.TrimSpace(string(b)), "give each node a folder of its own")
	}
	m, err := ReadManifest(to)
	if problem.Of(err) == problem.NotFound {
		return nil, nil // the first run was cut short
	}
	return m, err
}

// within tells whether a path lies in dir, or is dir, links followed.
func within(path, dir string) bool {
	rel, err := filepath.Rel(real(dir), real(path))
	return err == nil && filepath.IsLocal(rel)
}

func real(path string) string {
	p, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	for rest := ""; ; {
		if q, err := filepath.EvalSymlinks(p); err == nil {
			return filepath.Join(q, rest)
		}
		up := filepath.Dir(p)
		if up == p {
			return filepath.Join(p, rest)
		}
		rest = filepath.Join(filepath.Base(p), rest)
		p = up
	}
}

func storePages(ctx context.Context, n Node, to string, last *Manifest, rep *BackupReport) error {
	m := &rep.Manifest
	p, err := openPages(to, stillKnown(to, last))
	if err != nil {
		return err
	}
	m.Chunks, err = p.copyStore(ctx, n.Store, func(r kv.Reader) error {
		heads, err := ledger.ScanHeads(r)
		if err != nil && problem.Of(err) != problem.Damaged {
			return err
		}
		if err != nil {
			rep.Damaged = []string{err.Error()}
		}
		m.Heads, m.Records = nil, 0
		for o, h := range heads {
			m.Heads = append(m.Heads, End{Origin: o, Name: o.String(), Seq: h.Seq, Hash: h.Hash})
			m.Records += h.Seq
		}
		return nil
	})
	if err = errors.Join(err, p.close()); err != nil {
		return err
	}
	rep.NewPageBytes = p.fresh
	var mine []Chunk
	for _, c := range m.Chunks {
		m.StoreBytes += int64(c.Size)
		if c.File == p.name {
			mine = append(mine, c)
		}
	}
	return readChunks(ctx, to, mine, func([]byte) error { return nil })
}

// stillKnown gives the chunks that earlier runs wrote. When more than half of
// their files is out of use, or one of them is not whole, none counts, and this
// run writes everything anew.
func stillKnown(to string, last *Manifest) map[record.Hash]Chunk {
	known := make(map[record.Hash]Chunk)
	if last == nil {
		return known
	}
	var live, total int64
	ends := make(map[string]int64)
	for _, c := range last.Chunks {
		if _, ok := known[c.SHA256]; !ok {
			live += int64(c.Size)
		}
		known[c.SHA256] = c
		ends[c.File] = max(ends[c.File], c.At+int64(c.Size))
	}
	for f, end := range ends {
		fi, err := os.Stat(filepath.Join(to, f))
		if err != nil || fi.Size() < end {
			return make(map[record.Hash]Chunk)
		}
		total += fi.Size()
	}
	if total > 2*live+(1<<20) {
		return make(map[record.Hash]Chunk)
	}
	return known
}

// dropOldPages removes page files that the manifest does not name.
func dropOldPages(to string, m *Manifest) {
	used := make(map[string]bool)
	for _, c := range m.Chunks {
		used[c.File] = true
	}
	all, err := filepath.Glob(filepath.Join(to, pagesMark+"*"))
	if err != nil {
		return
	}
	for _, f := range all {
		if !used[filepath.Base(f)] {
			_ = os.Remove(f) // it stays for the next time
		}
	}
}

// attachmentsTo copies attachments that the backup has not, and reads back what
// it wrote.
func attachmentsTo(ctx context.Context, n Node, dst *dirblob.Store, rep *BackupReport) error {
	for ref, err := range n.Blobs.List(ctx) {
		if err != nil {
			return err
		}
		has, size, err := dst.Has(ctx, ref.SHA256)
		if err != nil {
			return err
		}
		if !has || size != ref.Size {
			bad, err := copyBlob(ctx, n.Blobs, dst, ref)
			if err != nil {
				return err
			}
			if bad != "" {
				rep.Damaged = append(rep.Damaged, bad)
				continue
			}
			rep.NewAttachments++
			rep.NewBytes += ref.Size
		}
		rep.Manifest.Attachments++
		rep.Manifest.AttachmentBytes += ref.Size
	}
	return nil
}

func copyBlob(ctx context.Context, src blob.Store, dst *dirblob.Store, ref blob.Ref) (bad string, err error) {
	if err := src.Verify(ctx, ref.SHA256); err != nil {
		if problem.Of(err) == problem.Damaged {
			return err.Error(), nil
		}
		return "", err
	}
	f, _, err := src.Open(ctx, ref.SHA256)
	if err != nil {
		return "", err
	}
	if err := errors.Join(dst.PutExpect(ctx, ref.SHA256, ref.Size, f), f.Close()); err != nil {
		return "", err
	}
	return "", dst.Verify(ctx, ref.SHA256)
}

// filesTo keeps the other files of the folder under their hash.
func filesTo(ctx context.Context, n Node, dst *dirblob.Store, m *Manifest) error {
	root, err := os.OpenRoot(n.Dir)
	if err != nil {
		return err
	}
	defer root.Close()
	return fs.WalkDir(root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if name != "." && n.Skip(path.Clean(name)) {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if !d.Type().IsRegular() {
			return nil
		}
		f, err := root.Open(name)
		if errors.Is(err, fs.ErrNotExist) {
			return nil // it went meanwhile
		}
		if err != nil {
			return err
		}
		fi, err := f.Stat()
		if err != nil {
			return errors.Join(err, f.Close())
		}
		ref, err := dst.Put(ctx, f, 0)
		if err = errors.Join(err, f.Close()); err != nil {
			return err
		}
		also, _, err := n.Blobs.Has(ctx, ref.SHA256)
		if err != nil {
			return err
		}
		m.Files = append(m.Files, File{Path: name, Mode: fi.Mode().Perm(), Size: ref.Size, SHA256: ref.SHA256, Attachment: also})
		return dst.Verify(ctx, ref.SHA256)
	})
}

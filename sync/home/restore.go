package home

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/care"
	"thudbook/sync/durable"
	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Restored says what a restore did.
type Restored struct {
	From        string
	Dir         string
	Manifest    *care.Manifest
	Attachments int64
	Bad         []string     // attachments of the backup that were damaged, left out
	Found       care.Class   // what check found: damage that was in the node when it was backed up
	Closed      []record.Ref // ends of own chains that are not written any more
}

// String gives the report as lines of text.
func (r *Restored) String() string {
	var b strings.Builder
	m := r.Manifest
	fmt.Fprintf(&b, "restored node %s into %s, as it was on %s\n", m.Node, r.Dir, m.Made.Format("2006-01-02 15:04:05 MST"))
	fmt.Fprintf(&b, "it holds %d records of %d origins and %d attachments; ", m.Records, len(m.Heads), r.Attachments)
	if r.Class() == care.OK {
		b.WriteString("all were read and are good\n")
	} else {
		b.WriteString("not all of it is good: see what was found\n")
	}
	for _, c := range r.Closed {
		fmt.Fprintf(&b, "origin %s ends with record %d and is closed: what was written after the backup is not here, and no number is used twice\n", c.Origin, c.Seq)
	}
	for _, t := range r.Bad {
		fmt.Fprintf(&b, "found: %s\n", t)
	}
	if r.Class() != care.OK {
		b.WriteString(`Keep the backup and the old folder as they are: an older backup, or the server, may
hold what is missing or damaged here. thudbook verify names it again.
`)
	}
	b.WriteString(`What to do now:
 1. See that the machine the backup was made of does not run this node any more:
    two of them under one identity make two histories.
 2. Start the agent or the server with this folder. Its next record opens a new
    chain, which names the one it continues.
 3. Let it exchange with the others. An agent gets back from its server what it
    had sent after the backup; a server gets it again from its agents.
`)
	return b.String()
}

// Class gives what was found.
func (r *Restored) Class() care.Class {
	if len(r.Bad) > 0 {
		return max(r.Found, care.Damaged)
	}
	return r.Found
}

// Restore builds a node's folder anew from a backup. The folder must be empty or
// not there: it gets its name last, whole. check is asked about the restored
// folder before its chains are closed; it should verify it, in a process of its
// own, and its error ends the restore.
func Restore(ctx context.Context, from, dir string, now time.Time, check func(context.Context, Place) (care.Class, error)) (*Restored, error) {
	m, err := care.ReadManifest(from)
	if err != nil {
		return nil, err
	}
	if dir, err = filepath.Abs(dir); err != nil {
		return nil, err
	}
	if err := empty(dir); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o700); err != nil {
		return nil, cannotRestore(dir, err)
	}
	part := dir + ".restoring-" + rand.Text()
	if err := os.Mkdir(part, 0o700); err != nil {
		return nil, cannotRestore(dir, err)
	}
	r := &Restored{From: from, Dir: dir, Manifest: m}
	if err := r.build(ctx, part, now, check); err != nil {
		return nil, errors.Join(cannotRestore(dir, err), os.RemoveAll(part))
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, errors.Join(cannotRestore(dir, err), os.RemoveAll(part))
	}
	if err := durable.Rename(part, dir); err != nil {
		return nil, errors.Join(cannotRestore(dir, err), os.RemoveAll(part))
	}
	return r, errors.Join(durable.SyncDir(dir), durable.SyncDir(filepath.Dir(dir)))
}

func cannotRestore(dir string, err error) error {
	if problem.Of(err) != problem.Internal || errors.Is(err, context.Canceled) {
		return err
	}
	return &problem.Error{Code: problem.Unavailable, What: "the backup could not be restored; nothing stands in the folder", Where: dir,
		Fix: "see that the disk is there, writable and has room", Err: err}
}

// empty refuses a folder with anything in it.
func empty(dir string) error {
	names, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return &problem.Error{Code: problem.Unavailable, What: "the folder cannot be looked at", Where: dir, Fix: "give an empty folder, or a new name", Err: err}
	case len(names) > 0:
		return &problem.Error{Code: problem.Conflict, What: fmt.Sprintf("the folder is not empty: it holds %s, for one", names[0].Name()), Where: dir,
			Fix: "restore into an empty folder or a new name, and keep the old one until all is well"}
	}
	return nil
}

func (r *Restored) build(ctx context.Context, part string, now time.Time, check func(context.Context, Place) (care.Class, error)) error {
	blobs, err := dirblob.Open(BlobPath(part))
	if err != nil {
		return err
	}
	if err := r.Manifest.Store(ctx, r.From, StorePath(part)); err != nil {
		return err
	}
	if err := r.Manifest.PutFiles(ctx, r.From, part); err != nil {
		return err
	}
	if r.Attachments, r.Bad, err = care.PutBlobs(ctx, r.From, blobs, r.Manifest.Files); err != nil {
		return err
	}
	if r.Found, err = check(ctx, Place{Dir: part, NoAnchor: true}.complete()); err != nil {
		return err
	}
	s, err := boltkv.Open(StorePath(part), boltkv.Options{Ordered: ledger.OrderedTables()})
	if err != nil {
		return err
	}
	reason := "the node was restored from a backup of " + r.Manifest.Made.Format(time.RFC3339)
	r.Closed, err = ledger.MarkRestored(ctx, s, r.Manifest.Node, now, reason)
	if err == nil {
		err = newIncarnation(ctx, s)
	}
	return errors.Join(err, s.Close(), durable.SyncDir(part))
}

// newIncarnation has a restored server tell its agents that it may have lost
// what they sent after the backup.
func newIncarnation(ctx context.Context, s kv.Store) error {
	is := false
	err := s.View(ctx, func(r kv.Reader) error {
		for _, err := range r.Scan(exchange.TableSelf, nil, nil) {
			is = err == nil
			return err
		}
		return nil
	})
	if err != nil || !is {
		return err
	}
	_, err = exchange.NewIncarnation(ctx, s)
	return err
}

// OpenBackup makes a folder within temp from which a backup can be verified: its
// attachments are read where they lie. drop removes it.
func OpenBackup(ctx context.Context, from, temp string) (m *care.Manifest, p Place, drop func() error, err error) {
	if m, err = care.ReadManifest(from); err != nil {
		return nil, p, nil, err
	}
	dir, err := os.MkdirTemp(temp, copyPrefix)
	if err != nil {
		return nil, p, nil, err
	}
	drop = func() error { return os.RemoveAll(dir) }
	err = m.Store(ctx, from, StorePath(dir))
	if err == nil {
		err = m.PutFiles(ctx, from, dir)
	}
	if err != nil {
		return nil, p, nil, errors.Join(err, drop())
	}
	p = Place{Dir: dir, Blobs: care.BackupBlobs(from), NoAnchor: true}
	return m, p.complete(), drop, nil
}

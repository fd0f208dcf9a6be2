package home

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/care"
	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// Place says where the parts of what is to be checked lie.
type Place struct {
	Dir      string // data folder
	Store    string // empty: in Dir
	Blobs    string // empty: in Dir
	Anchor   string // empty: in Dir
	NoAnchor bool   // a backup has none
	NoViews  bool   // leave out the views, whose rebuilding takes most of the time
	Temp     string // for the rebuilt views; empty: Dir, or the system's where Dir cannot be written
}

// PlaceOf gives the parts of a data folder.
func PlaceOf(dir string) Place { return Place{Dir: dir}.complete() }

func (p Place) complete() Place {
	if p.Store == "" {
		p.Store = StorePath(p.Dir)
	}
	if p.Blobs == "" {
		p.Blobs = BlobPath(p.Dir)
	}
	if p.Anchor == "" && !p.NoAnchor {
		p.Anchor = ledger.DefaultAnchor(p.Dir)
	}
	if p.Temp == "" {
		p.Temp = tempFor(p.Dir)
	}
	return p
}

// tempFor gives the data folder if something may be written there: its disk has
// room for what is made from it.
func tempFor(dir string) string {
	probe, err := os.MkdirTemp(dir, copyPrefix)
	if err != nil {
		return os.TempDir()
	}
	_ = os.Remove(probe) // empty, and swept later at worst
	return dir
}

// Present tells in plain words when a folder is not there or holds no store.
func Present(dir string) error {
	fi, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &problem.Error{Code: problem.NotFound, What: "there is no such folder", Where: dir, Fix: "give the folder that the agent or the server was started with (--data)"}
	case err != nil:
		return &problem.Error{Code: problem.Unavailable, What: "the folder cannot be looked at", Where: dir, Fix: "check the disk and your right to read there", Err: err}
	case !fi.IsDir():
		return &problem.Error{Code: problem.Invalid, What: "this is a file, not a folder", Where: dir, Fix: "give the folder that the agent or the server was started with (--data)"}
	}
	if _, err := os.Stat(StorePath(dir)); errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(filepath.Join(dir, node.FileName)); err == nil {
			return &problem.Error{Code: problem.Damaged, What: "the store of this node is missing", Where: StorePath(dir), Fix: "look for it where files were moved; else restore a backup into another folder"}
		}
		return &problem.Error{Code: problem.NotFound, What: "there is no store in this folder", Where: StorePath(dir), Fix: "give the folder that the agent or the server was started with (--data)"}
	}
	return nil
}

// Verify checks everything that lies at a place. It opens the store for reading
// alone and changes nothing; what it needs to rebuild views it makes in
// p.Temp and removes. A store that is badly damaged may end the process or keep
// it for ever: run it in a process of its own, with a time limit.
func Verify(ctx context.Context, p Place) (*care.Report, error) {
	p = p.complete()
	id, err := node.Load(p.Dir)
	if err != nil {
		return nil, err
	}
	reach := ledger.NewReach(p.Anchor, id.ID)
	if err := boltkv.Circle(p.Store, reach.Take); problem.Of(err) == problem.Damaged {
		return inCircles(err, reach), nil
	}
	store, err := boltkv.Open(p.Store, boltkv.Options{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	source := care.Source{Store: store, Blobs: dirblob.OpenReadOnly(p.Blobs), Anchor: p.Anchor, Node: id.ID,
		Temp: p.Temp, Complete: exchange.CompleteThrough, Wanted: exchange.Wanted}
	if !p.NoViews {
		source.Views = view.New()
	}
	report, err := care.Verify(ctx, source)
	if err != nil {
		err = fmt.Errorf("verify %s: %w", p.Dir, err)
	}
	return report, errors.Join(err, store.Close())
}

// inCircles reports on a store that must not be opened.
func inCircles(err error, reach *ledger.Reach) *care.Report {
	lost, reached := reach.Lost()
	r := &care.Report{Records: int64(reached), Unchecked: []string{"chains, attachments, anchor, views: the store cannot be opened"},
		Findings: []care.Finding{{Class: care.Damaged, Text: err.Error()}}}
	for _, l := range lost {
		r.Findings = append(r.Findings, care.Finding{Class: care.Damaged, Text: l})
	}
	return r
}

// Compact rewrites the store of a stopped node without its free space, and gives
// its size in bytes before and after.
func Compact(ctx context.Context, dir string) (before, after int64, err error) {
	path := StorePath(dir)
	free, err := DiskFree(dir)
	if err != nil {
		return 0, 0, err
	}
	if fi, err := os.Stat(path); err == nil && free < fi.Size() {
		return 0, 0, &problem.Error{Code: problem.Unavailable, What: fmt.Sprintf("the disk has %d MB free, a second copy of the store may need %d MB", free>>20, fi.Size()>>20),
			Where: path, Fix: "free space first; nothing was changed"}
	}
	before, after, err = boltkv.Compact(ctx, path)
	if errors.Is(err, kv.ErrLocked) {
		return 0, 0, Held(dir, "stop it, then compact")
	}
	return before, after, err
}

// Held is the problem of a folder that another process has open.
func Held(dir, fix string) error {
	who := "a running agent or server"
	if pid := Holder(StorePath(dir)); pid > 0 {
		who = fmt.Sprintf("a running agent or server (process %d)", pid)
	}
	return &problem.Error{Code: problem.Conflict, What: who + " has this folder open", Where: dir, Fix: fix, Err: kv.ErrLocked}
}

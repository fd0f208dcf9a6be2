package home

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/blob/dirblob"
	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// The limits of an examination.
const (
	lowDisk   = 2 << 30
	tightDisk = 512 << 20 // the reserve that an agent keeps by default
	oldBackup = 14 * 24 * time.Hour
)

// examination is one look: at a running node by itself, or at a stopped one.
type examination struct {
	dir     string
	id      record.NodeID
	store   *boltkv.Store
	blobs   blob.Store
	now     time.Time
	running int   // process, 0 when none
	faulted error // of the running ledger
	e       Examined
}

// ExamineStopped looks at a folder that no process answers for. Like Verify it
// is best run in a process of its own.
func ExamineStopped(ctx context.Context, dir string) (*Examined, error) {
	x := examination{dir: dir, now: time.Now(), blobs: dirblob.OpenReadOnly(BlobPath(dir))}
	id, err := node.Load(dir)
	if err != nil {
		x.disk()
		x.e.take(err)
		return &x.e, nil
	}
	x.id = id.ID
	if err := boltkv.Circle(StorePath(dir), func(kv.Table, []byte, []byte) {}); problem.Of(err) == problem.Damaged {
		x.disk()
		x.e.take(err)
		return &x.e, nil
	}
	x.store, err = boltkv.Open(StorePath(dir), boltkv.Options{ReadOnly: true})
	if errors.Is(err, kv.ErrLocked) {
		err = Held(dir, "it does not answer: look at its log; if it hangs, end that process, and nothing that was acknowledged is lost")
	}
	if err != nil {
		x.disk()
		x.e.take(err)
		return &x.e, nil
	}
	e, err := x.run(ctx)
	return e, errors.Join(err, x.store.Close())
}

func (x *examination) run(ctx context.Context) (*Examined, error) {
	if x.running > 0 {
		x.e.good("running: process %d has the folder open and answers", x.running)
	} else {
		x.e.good("not running: nobody has the folder open")
	}
	if x.faulted != nil {
		x.e.take(x.faulted)
	}
	x.disk()
	err := x.store.View(ctx, func(r kv.Reader) error {
		for _, look := range []func(kv.Reader) error{x.chains, x.clock, x.anchor, x.forks, x.pending,
			func(r kv.Reader) error { return x.missing(ctx, r) }} {
			if err := look(r); err != nil {
				if problem.Of(err) == problem.Internal {
					return err
				}
				x.e.take(err)
			}
		}
		return ctx.Err()
	})
	if err != nil {
		if problem.Of(err) != problem.Damaged {
			return nil, err
		}
		x.e.take(err)
	}
	x.aside()
	x.lastBackup()
	return &x.e, nil
}

// disk looks at room and rights.
func (x *examination) disk() {
	free, err := DiskFree(x.dir)
	switch {
	case err != nil:
		x.e.note("how much room the disk has cannot be told: "+err.Error(), "")
	case free < tightDisk:
		x.e.bad(0, fmt.Sprintf("the disk has %d MB free", free>>20), "free space now: an agent takes nothing in below its reserve; files in the watched folder wait and are not lost")
	case free < lowDisk:
		x.e.note(fmt.Sprintf("the disk has %d MB free", free>>20), "free space soon")
	default:
		x.e.good("disk: %.1f GB free", float64(free)/1e9)
	}
	if fi, err := os.Stat(x.dir); err == nil && runtime.GOOS != "windows" && fi.Mode().Perm()&0o022 != 0 {
		x.e.note(fmt.Sprintf("others may write to the folder (mode %04o)", fi.Mode().Perm()), "take the right away: chmod 700 "+x.dir)
	}
	probe, err := os.MkdirTemp(x.dir, copyPrefix)
	if err != nil {
		x.e.bad(0, "nothing can be written to the folder: "+err.Error(), "check its rights, and whether the disk is mounted for reading alone; on Linux the system log says when a disk failed")
		return
	}
	_ = os.Remove(probe) // empty
}

// chains reads the end of every chain; verify reads all.
func (x *examination) chains(r kv.Reader) error {
	heads, err := ledger.ScanHeads(r)
	if err != nil && problem.Of(err) != problem.Damaged {
		return err
	}
	if err != nil {
		x.e.take(err)
	}
	var records uint64
	damage := 0
	for o, h := range heads {
		records += h.Seq
		for s, err := range ledger.Chain(r, o, h.Seq-min(h.Seq, 64)) {
			if err != nil {
				return err
			}
			if s.Damage != nil {
				damage++
				x.e.take(s.Damage)
			}
		}
	}
	if damage == 0 {
		x.e.good("store: %d records of %d origins; the last 64 of each were read and are good", records, len(heads))
	}
	if st := x.store.Stats(); x.running > 0 {
		if free := int64(st.FreePages) * int64(os.Getpagesize()); free > 256<<20 && free > st.FileBytes/2 {
			x.e.note(fmt.Sprintf("%d MB of the store's %d MB are free space", free>>20, st.FileBytes>>20), "stop it once and run thudbook compact --data "+x.dir)
		}
	}
	if err := ledger.ViewsReady(r); err != nil {
		x.e.note("a rebuild of what the screens show was cut short", "the next start finishes it")
	}
	return nil
}

// clock compares this clock with the stored ones.
func (x *examination) clock(r kv.Reader) error {
	heads, err := ledger.ScanHeads(r)
	if err != nil {
		return nil // told before
	}
	var last time.Time
	for _, h := range heads {
		if t := time.UnixMilli(h.Clock.Millis()); h.Clock > 0 && t.After(last) {
			last = t
		}
	}
	switch back := last.Sub(x.now); {
	case x.now.Year() < 2025 || x.now.Year() > 2080:
		x.e.bad(0, "the clock of this machine says "+x.now.UTC().Format("2006-01-02 15:04 MST"), "set it; recording goes on meanwhile, and the shots are marked")
	case back > 2*time.Minute:
		x.e.bad(0, fmt.Sprintf("the clock of this machine is %s behind the last record", back.Round(time.Second)), "set it; recording goes on meanwhile, and the order of records is kept")
	default:
		x.e.good("clock: %s, not behind the last record", x.now.UTC().Format("2006-01-02 15:04 MST"))
	}
	n := 0
	for _, err := range r.Scan(ledger.SuspectTable, nil, nil) {
		if err != nil {
			return err
		}
		n++
	}
	if n > 0 {
		x.e.note(fmt.Sprintf("%d records were written by a clock that was wrong", n), "look at the clocks of the rigs that sent them")
	}
	return nil
}

func (x *examination) anchor(r kv.Reader) error {
	doubts, n, err := ledger.CheckAnchor(r, x.id, ledger.DefaultAnchor(x.dir))
	if err != nil {
		return err
	}
	if x.running > 0 { // a record may be between store and anchor at any moment, never the other way
		doubts = closedOnly(doubts)
	}
	for _, d := range doubts {
		if d.OnPurpose {
			x.e.note(fmt.Sprintf("own origin %s is not written any more: %s", d.Origin, d.Reason), "nothing to do: the next record opens a new chain. See that the machine the backup was made of does not run this node any more")
			continue
		}
		x.e.bad(care.Forked, fmt.Sprintf("own origin %s is not written any more: %s", d.Origin, d.Reason), "nothing to do here: the next record opens a new chain; if this was no restore, find out who put the folder back")
	}
	if len(doubts) == 0 {
		x.e.good("anchor: agrees with the ends of %d own origins", n)
	}
	return nil
}

// closedOnly is what is left to say of a running node, whose anchor moves.
func closedOnly(all []ledger.Doubt) []ledger.Doubt {
	var kept []ledger.Doubt
	for _, d := range all {
		if d.Closed {
			kept = append(kept, d)
		}
	}
	return kept
}

func (x *examination) forks(r kv.Reader) error {
	all, err := ledger.ScanForks(r)
	for _, f := range all {
		x.e.bad(care.Forked, fmt.Sprintf("a second history of origin %s is kept as evidence, from record %d on", f.Ref.Origin, f.Ref.Seq), "two machines write under one identity: stop the copy, then enrol it anew")
	}
	return err
}

// pending compares own heads with the receipts of servers.
func (x *examination) pending(r kv.Reader) error {
	heads, err := ledger.ScanHeads(r)
	if err != nil {
		return nil // told before
	}
	sure := make(map[record.Origin]receipt.Receipt)
	for rc, err := range receipt.Every(r) {
		if err != nil {
			return err
		}
		if old, ok := sure[rc.Origin]; !ok || rc.Seq > old.Seq {
			sure[rc.Origin] = rc
		}
	}
	if len(sure) == 0 {
		x.e.good("exchange: no server has confirmed anything here (a server, or an agent that works alone)")
		return nil
	}
	var waiting uint64
	var newest time.Time
	for o, rc := range sure {
		if t := rc.Time(); t.After(newest) {
			newest = t
		}
		if h := heads[o]; o.Node == x.id && h.Seq > rc.CompleteThrough {
			waiting += h.Seq - rc.CompleteThrough
		}
	}
	switch age := x.now.Sub(newest); {
	case waiting == 0:
		x.e.good("exchange: everything is confirmed by the server, last on %s", newest.Format("2006-01-02 15:04 MST"))
	case age > 24*time.Hour:
		x.e.note(fmt.Sprintf("%d records are not confirmed by the server yet; it confirmed nothing since %s", waiting, newest.Format("2006-01-02 15:04 MST")),
			"nothing is lost; the agent's first screen says why it stands still (network, address, certificate, a revoked key)")
	default:
		x.e.note(fmt.Sprintf("%d records are not confirmed by the server yet", waiting), "they follow with the next exchange")
	}
	return nil
}

// aside counts what lies in quarantine.
func (x *examination) aside() {
	q, ok := x.blobs.(interface {
		Quarantined() ([]blob.Quarantined, error)
	})
	if !ok {
		return
	}
	all, err := q.Quarantined()
	if err != nil {
		x.e.note("the quarantine cannot be listed: "+err.Error(), "")
		return
	}
	if len(all) > 0 {
		x.e.note(fmt.Sprintf("%d files lie in quarantine: their bytes were not what their name said", len(all)), "run thudbook verify; nothing there is in use")
	}
}

func (x *examination) lastBackup() {
	b, err := os.ReadFile(filepath.Join(x.dir, lastBackupName))
	var last lastBackup
	if errors.Is(err, fs.ErrNotExist) {
		x.e.note("no backup was made of this folder", "thudbook backup --data "+x.dir+" --to DIR, best on another disk; it may run meanwhile")
		return
	}
	if err == nil {
		err = json.Unmarshal(b, &last)
	}
	if err != nil {
		x.e.note("the note of the last backup cannot be read", "make a backup")
		return
	}
	when := last.Made.Format("2006-01-02 15:04 MST")
	if x.now.Sub(last.Made) > oldBackup {
		x.e.note("the last backup is from "+when+", to "+last.To, "make a new one: only what is new is written")
		return
	}
	x.e.good("backup: %s, %d records, to %s", when, last.Records, last.To)
}

package intake

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
)

// consider judges one file that is not dealt with, and takes it in when it is
// finished. again says when to look next (0: no hurry). What goes wrong becomes
// words on the screen.
func (f *folder) consider(ctx context.Context, at *reach, e entry, g *growing, r rule, m *Map) (again time.Duration) {
	now := time.Now()
	if now.Before(g.retry) {
		return g.retry.Sub(now)
	}
	open := func() (*os.File, error) { return at.open(e.at) }
	if e.test { // its size says nothing of rows, and it has no last line
		r.Rule = onlyMarker(r.Rule)
	}
	v, err := r.judge(g, e.name, open, at.regular, now)
	if err != nil {
		f.fail(e, g, err)
		return retryAfter
	}
	if !v.ready {
		g.why, g.fix = v.why, ""
		return v.again
	}
	if g.done.IsZero() {
		g.done = now
	}
	meta, metaEntry, wait := f.metaOf(at, e.name, now.Sub(g.done))
	if wait > 0 {
		g.why, g.fix = "waiting a moment for its meta file", ""
		return wait
	}
	s := Submission{Name: e.name, Path: filepath.Join(f.dir, e.name), ModTime: e.mod, Map: m, Meta: meta, folder: f, meta: metaEntry, firstSeen: g.since}
	if v.stale {
		s.notes = append(s.notes, note{lab.FlagIncompleteFile, "taken in although it never satisfied the map's rule: " + v.why})
	}
	f.saying(e.name, "being read")
	if e.test {
		err = f.in.takeTest(ctx, at, e, &s)
	} else {
		err = f.in.takeFile(ctx, at, e, &s)
	}
	switch {
	case err == nil:
		f.unavailable = ""
	case errors.Is(err, errGrowing):
		g.note(-1, e.mod, now) // the next look starts the wait anew
		g.why, g.fix = "still being written", ""
		return r.quiet
	case ctx.Err() != nil:
		return 0
	default:
		f.fail(e, g, err)
		return retryAfter
	}
	return 0
}

// fail puts into words why a file could not be taken in; it is tried again.
func (f *folder) fail(e entry, g *growing, err error) {
	why, fix := "cannot be read: "+err.Error(), "It is tried again and again; the file stays where it is."
	p, ok := problem.As(err)
	switch {
	case ok:
		why, fix = p.What, p.Fix
	case errors.Is(err, fs.ErrPermission):
		why = "no permission to read the file"
		fix = "Give the user that runs the agent the right to read it; it is then taken in by itself."
	case errors.Is(err, fs.ErrNotExist):
		why, fix = "the file is gone", ""
	}
	isNew := g.why != why
	if ok && p.Code == problem.Unavailable { // it concerns all files, and its figures change from look to look
		isNew = f.unavailable != p.Fix
		f.unavailable = p.Fix
	}
	if isNew {
		f.in.opt.Log.Warn("file waits", "folder", f.dir, "file", e.name, "why", why, "error", err)
	}
	g.why, g.fix, g.retry = why, fix, time.Now().Add(retryAfter)
}

const maxMetaBytes = 1 << 20

// metaOf reads the meta file beside a finished file. wait is above zero while
// the meta may still come, or is still being written.
func (f *folder) metaOf(at *reach, name string, finished time.Duration) (meta []byte, e *entry, wait time.Duration) {
	left := f.in.opt.MetaWait - finished
	for _, n := range metaNames(name) {
		b, e, err := readMeta(at, n)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if (err != nil || !json.Valid(b)) && left > 0 {
			return nil, nil, left
		}
		if err != nil {
			return nil, nil, 0 // stays in the folder, and is applied when it can be read
		}
		return b, e, 0
	}
	return nil, nil, max(0, left)
}

func readMeta(r *reach, name string) ([]byte, *entry, error) {
	at, _, err := r.find(name)
	if err != nil {
		return nil, nil, err
	}
	file, err := r.open(at)
	if err != nil {
		return nil, nil, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, nil, err
	}
	b, err := io.ReadAll(io.LimitReader(file, maxMetaBytes+1))
	if err == nil && len(b) > maxMetaBytes {
		err = fmt.Errorf("%s is larger than %d bytes", name, maxMetaBytes)
	}
	return b, &entry{name: name, at: at, size: info.Size(), mod: info.ModTime()}, err
}

// targetsOf lists the files that a meta file may speak of: the exact name, and
// a prefix that a name with any ending may have.
func targetsOf(meta string) (exact, stem string) {
	exact = meta[:len(meta)-len(metaSuffix)]
	return exact, strings.TrimSuffix(exact, ".") + "."
}

// errGrowing: the file changed while it was read.
var errGrowing = errors.New("the file changed while it was read")

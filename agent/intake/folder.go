package intake

import (
	"cmp"
	"context"
	"errors"
	"io"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"time"

	"thudbook/sync/problem"
)

// FolderState says how one watched folder stands, for the screen.
type FolderState struct {
	Dir     string
	Looked  time.Time // end of the last look; zero before the first
	Problem string    // why nothing is taken in from it; empty when all is well
	Fix     string
	Rule    string // when a file counts as finished, in words: "after 1.5 s without a change"
	Map     string // name of the channel map in use; empty: channels are guessed
	Files   int    // acquisition files lying in it
	Waiting []Waiting
}

// Waiting is a file that lies in the folder and is not taken in yet.
type Waiting struct {
	Name  string
	Size  int64
	Since time.Time
	Why   string
	Fix   string
}

// folder watches one directory.
type folder struct {
	dir   string
	maps  *mapFile
	in    *Intake
	known known
	grow  map[string]*growing
	tests map[string]time.Time // folders of tests that were dealt with: when they were looked into last
	// unavailable is what keeps every file from being taken in, as it was logged.
	unavailable string

	mu    sync.Mutex
	state FolderState
}

func (f *folder) State() FolderState {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := f.state
	s.Waiting = slices.Clone(s.Waiting)
	return s
}

// entry is one acquisition or meta file as a look through the folder found it.
type entry struct {
	name string
	at   string // where in the folder it lies; another path than name for a link
	size int64
	mod  time.Time
	test bool // a folder that is a test after ISO/TS 13499; size is that of the packed one
}

// run looks through the folder until ctx ends.
func (f *folder) run(ctx context.Context) {
	for {
		k, err := loadKnown(ctx, f.in.opt.Store, f.dir)
		if err == nil {
			f.known = k
			break
		}
		if ctx.Err() != nil {
			return
		}
		if f.publish(FolderState{Problem: "What was taken in from the folder before cannot be read: " + err.Error(),
			Fix: "It is tried again by itself; the files wait where they are.", Looked: time.Now()}) {
			f.in.opt.Log.Error("watched folder waits", "folder", f.dir, "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(retryAfter):
		}
	}
	hint := newHint(f.dir, f.in.opt.Log)
	defer hint.close()
	timer := time.NewTimer(0)
	defer timer.Stop()
	var earliest time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		case <-hint.c:
			if wait := time.Until(earliest); wait > 0 { // a file that grows sends many hints
				timer.Reset(wait)
				continue
			}
		}
		start := time.Now()
		next := f.pass(ctx)
		if ctx.Err() != nil {
			return
		}
		hint.renew(f.State().Problem == "")
		// A folder that takes long to look through is looked through less often.
		took := time.Since(start)
		earliest = time.Now().Add(max(50*time.Millisecond, 5*took))
		timer.Reset(max(next, 5*took))
	}
}

// pass looks through the folder once and takes in what is finished. It gives
// the time until the next look.
func (f *folder) pass(ctx context.Context) time.Duration {
	now := time.Now()
	at, err := openReach(f.dir)
	if err != nil {
		return f.away(err, now)
	}
	defer at.close()
	m, mapErr := f.maps.look(at)
	r, under, marker := ruleOf(nil, f.in.opt.Stale), mapHash(m), ""
	if m != nil {
		r, marker = ruleOf(m.Map, f.in.opt.Stale), m.Complete.Marker
	}
	found, err := f.list(ctx, at, under, marker)
	now = time.Now()
	if err != nil {
		return f.away(err, now)
	}
	st := FolderState{Looked: now, Files: found.files, Waiting: found.refused, Rule: r.words()}
	if m != nil {
		st.Map = m.Name
		if m.Map.Name != "" {
			st.Map += " (" + m.Map.Name + ")"
		}
	}
	if mapErr != nil {
		st.Problem = "The channel map cannot be used: " + mapErr.Error()
		st.Fix = "Mend " + f.maps.path + "; the files wait in the folder and are taken in as soon as the map can be read."
	}
	next := f.in.opt.Poll
	for _, e := range found.fresh {
		if ctx.Err() != nil {
			break
		}
		g := f.grow[e.name]
		if mapErr == nil {
			if again := f.consider(ctx, at, e, g, r, m); again > 0 {
				next = min(next, max(again, 20*time.Millisecond))
			}
		} else {
			g.why = "the channel map cannot be used"
		}
		if !f.known.has(e.name, e.size, e.mod, under) {
			st.Waiting = append(st.Waiting, Waiting{Name: e.name, Size: e.size, Since: g.since, Why: g.why, Fix: g.fix})
		} else {
			delete(f.grow, e.name)
		}
	}
	for _, e := range found.metas {
		if ctx.Err() == nil {
			f.lateMeta(ctx, at, e, r.quiet)
		}
	}
	if f.publish(st) && st.Problem != "" {
		f.in.opt.Log.Warn("watched folder waits", "folder", f.dir, "problem", st.Problem)
	}
	return next
}

// away says that the folder cannot be read, and when to look again.
func (f *folder) away(err error, now time.Time) time.Duration {
	if f.publish(FolderState{Problem: unreachable(f.dir, err), Fix: reachFix(err), Looked: now}) {
		f.in.opt.Log.Warn("watched folder cannot be read", "folder", f.dir, "error", err)
	}
	return f.in.opt.Poll
}

// publish replaces the state and tells whether the problem is a new one.
func (f *folder) publish(s FolderState) bool {
	s.Dir = f.dir
	f.mu.Lock()
	changed := s.Problem != f.state.Problem
	f.state = s
	f.mu.Unlock()
	return changed
}

// saying changes what is said of a waiting file in the middle of a look: large
// files take a while.
func (f *folder) saying(name, why string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for i := range f.state.Waiting {
		if f.state.Waiting[i].Name == name {
			f.state.Waiting[i].Why, f.state.Waiting[i].Fix = why, ""
		}
	}
}

// found is what a look through the folder came to.
type found struct {
	fresh, metas []entry   // not dealt with yet, and not applied yet
	refused      []Waiting // links that lead out of the folder
	files        int
	now          time.Time
	present      map[string]bool // of what is followed while it waits
}

// list finds the acquisition files that are not dealt with, in the order in
// which they were written, and the meta files that were not applied. Files that
// are gone are forgotten.
func (f *folder) list(ctx context.Context, at *reach, mapHash []byte, marker string) (*found, error) {
	d, err := at.root.Open(".")
	if err != nil {
		return nil, err
	}
	defer d.Close()
	out := &found{now: time.Now(), present: make(map[string]bool, len(f.grow))}
	for {
		batch, err := d.ReadDir(512)
		for _, de := range batch {
			f.sort(out, at, de.Name(), mapHash, marker)
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return nil, err
		}
	}
	for name := range f.grow {
		if !out.present[name] {
			delete(f.grow, name)
		}
	}
	slices.SortFunc(out.fresh, func(a, b entry) int {
		if c := a.mod.Compare(b.mod); c != 0 {
			return c
		}
		return strings.Compare(a.name, b.name)
	})
	return out, nil
}

// sort puts one name of the folder where it belongs.
func (f *folder) sort(out *found, at *reach, name string, mapHash []byte, marker string) {
	shot, meta := isShot(name, marker), strings.HasSuffix(strings.ToLower(name), metaSuffix)
	if !shot && !meta {
		return
	}
	path, info, err := at.find(name)
	if p, ok := problem.As(err); ok {
		g := f.follow(out, name)
		g.since = cmp.Or(g.since, out.now)
		f.fail(entry{name: name}, g, err)
		out.refused = append(out.refused, Waiting{Name: name, Since: g.since, Why: p.What, Fix: p.Fix})
		return
	}
	if err == nil && info.IsDir() && shot {
		f.sortTest(out, at, name, path, mapHash)
		return
	}
	if err != nil || !info.Mode().IsRegular() {
		return // gone since, a pipe
	}
	e := entry{name: name, at: path, size: info.Size(), mod: info.ModTime()}
	if shot {
		out.files++
	}
	if f.known.has(name, e.size, e.mod, mapHash) {
		return
	}
	f.follow(out, name).note(e.size, e.mod, out.now)
	if meta {
		out.metas = append(out.metas, e)
	} else {
		out.fresh = append(out.fresh, e)
	}
}

// follow keeps in mind a file that is not dealt with.
func (f *folder) follow(out *found, name string) *growing {
	out.present[name] = true
	g := f.grow[name]
	if g == nil {
		g = &growing{}
		f.grow[name] = g
	}
	return g
}

func unreachable(dir string, err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "The watched folder " + dir + " is not there."
	case errors.Is(err, fs.ErrPermission):
		return "The watched folder " + dir + " may not be read by this user."
	default:
		return "The watched folder " + dir + " cannot be read: " + err.Error() + "."
	}
}

func reachFix(err error) string {
	if errors.Is(err, fs.ErrPermission) {
		return "Give the user that runs the agent the right to list and read it; taking in goes on by itself."
	}
	return "Connect the network drive or create the folder; taking in goes on by itself as soon as it is back."
}

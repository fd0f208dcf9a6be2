package intake

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"thudbook/sync/problem"
)

// follow makes the folders that are to be watched.
func (in *Intake) follow(all []Folder) ([]*folder, error) {
	var out []*folder
	for _, f := range all {
		dir, err := filepath.Abs(f.Dir)
		if err != nil {
			return nil, fmt.Errorf("watched folder %s: %w", f.Dir, err)
		}
		if slices.ContainsFunc(out, func(o *folder) bool { return o.dir == dir }) {
			return nil, problem.New(problem.Invalid, "The folder "+dir+" is to be watched twice.", "Name it once.")
		}
		out = append(out, &folder{dir: dir, in: in, maps: mapFor(dir, f.Map), grow: map[string]*growing{}, tests: map[string]time.Time{}, state: FolderState{Dir: dir}})
	}
	return out, nil
}

// Watch has other folders watched from now on, also while Run runs; files that
// were taken in are not taken in again.
func (in *Intake) Watch(all []Folder, defaultMap string) error {
	folders, err := in.follow(all)
	if err != nil {
		return err
	}
	in.mu.Lock()
	in.folders, in.opt.DefaultMap = folders, defaultMap
	in.mu.Unlock()
	select {
	case in.changed <- struct{}{}:
	default: // it is told already
	}
	return nil
}

func (in *Intake) watched() []*folder {
	in.mu.Lock()
	defer in.mu.Unlock()
	return slices.Clone(in.folders)
}

// watch looks through the folders until ctx ends, and begins anew when others
// are to be watched.
func (in *Intake) watch(ctx context.Context) {
	for ctx.Err() == nil {
		round, stop := context.WithCancel(ctx)
		var all sync.WaitGroup
		for _, f := range in.watched() {
			all.Go(func() { f.run(round) })
		}
		select {
		case <-in.changed:
		case <-round.Done():
		}
		stop()
		all.Wait()
	}
}

// MapForPosts gives the channel map that holds for files without one of their
// own: that of the first watched folder. nil means that channels are guessed.
func (in *Intake) MapForPosts() (*Map, error) {
	in.mu.Lock()
	given := in.opt.DefaultMap
	in.mu.Unlock()
	folders := in.watched()
	switch {
	case given != "":
		return mapFor("", given).look(nil)
	case len(folders) == 0:
		return nil, nil
	}
	return mapLyingIn(folders[0].dir)
}

// mapLyingIn reads the channel map of a watched folder anew; nil without one.
func mapLyingIn(dir string) (*Map, error) {
	r, err := openReach(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer r.close()
	return mapFor(dir, "").look(r) // a second reader: the folder's own belongs to its goroutine
}

// TryFolder looks at a folder that is to be watched: how many files of the
// acquisition lie in it, and which is the newest. What keeps it from being
// watched is a problem of the field "folder".
func TryFolder(dir string) (files int, newest string, err error) {
	at, err := openReach(dir)
	if err == nil {
		defer at.close()
		files, newest, err = at.newest()
	}
	if err != nil {
		return 0, "", &problem.Error{Code: problem.Invalid, Where: "folder", What: unreachable(dir, err),
			Fix: "Check the path. A share of another computer is written with both names, such as \\\\computer\\share\\folder, and the user that runs the agent needs the right to read it.", Err: err}
	}
	return files, newest, nil
}

func (r *reach) newest() (files int, name string, err error) {
	d, err := r.root.Open(".")
	if err != nil {
		return 0, "", err
	}
	defer d.Close()
	all, err := d.ReadDir(-1)
	var last time.Time
	for _, de := range all {
		at, info, ferr := r.find(de.Name())
		if ferr != nil || !isShot(de.Name(), "") {
			continue
		}
		written := info.ModTime()
		switch {
		case info.IsDir():
			t, err := openTest(r, at)
			if err != nil || t == nil {
				continue
			}
			written = t.Newest
			_ = t.Close() // nothing was read of it
		case !info.Mode().IsRegular():
			continue
		}
		if files++; written.After(last) {
			last, name = written, de.Name()
		}
	}
	return files, name, err
}

// Sample reads a file of a folder, or a folder that is a test after ISO/TS 13499
// as one tar, at most limit bytes of it.
func Sample(dir, name string, limit int64) ([]byte, error) {
	at, err := openReach(dir)
	if err != nil {
		return nil, err
	}
	defer at.close()
	path, info, err := at.find(name)
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		t, err := openTest(at, path)
		if err != nil || t == nil {
			return nil, cmp.Or(err, errGrowing)
		}
		defer t.Close()
		return io.ReadAll(io.LimitReader(t, limit))
	}
	f, err := at.open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, limit))
}

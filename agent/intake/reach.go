package intake

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"thudbook/sync/problem"
)

// reach opens what lies in a watched folder and nothing outside of it. Whoever
// may write into the folder could otherwise let a link there have the agent keep,
// and show, any file that the agent may read. Every file is opened through an
// os.Root, so that a link put in place between a look and the opening is refused
// as well. Hard links are files like others.
type reach struct {
	dir  string
	root *os.Root
}

func openReach(dir string) (*reach, error) {
	info, err := os.Stat(dir) // opening a pipe as a folder would wait for its writer
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("%s is no folder", dir)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	return &reach{dir: dir, root: root}, nil
}

func (r *reach) close() { _ = r.root.Close() }

// isLink tells symbolic links and what Windows has beside them: junctions and
// other reparse points, whose mode is irregular.
func isLink(m fs.FileMode) bool { return m&(fs.ModeSymlink|fs.ModeIrregular) != 0 }

// find says where in the folder a name leads to. A link that leads out of the
// folder, or nowhere, is a problem for people.
func (r *reach) find(name string) (at string, info fs.FileInfo, err error) {
	info, err = r.root.Lstat(name)
	if err != nil || !isLink(info.Mode()) {
		return name, info, err
	}
	at, err = r.inside(name)
	if err != nil {
		return "", nil, linkProblem(r.dir, name, err)
	}
	if info, err = r.root.Stat(at); err != nil {
		return "", nil, linkProblem(r.dir, name, err)
	}
	return at, info, nil
}

// inside resolves a link to a path relative to the folder.
func (r *reach) inside(name string) (string, error) {
	home, err := filepath.EvalSymlinks(r.dir)
	if err != nil {
		return "", err
	}
	target, err := filepath.EvalSymlinks(filepath.Join(home, name))
	if err != nil {
		return "", err
	}
	rel, err := filepath.Rel(home, target)
	if err != nil || !filepath.IsLocal(rel) {
		return "", errOutside
	}
	return rel, nil
}

var errOutside = errors.New("the link leads out of the watched folder")

func linkProblem(dir, name string, err error) error {
	what := "a link that leads out of the watched folder; links are not followed there"
	switch {
	case errors.Is(err, fs.ErrNotExist):
		what = "a link whose target is not there"
	case !errors.Is(err, errOutside):
		what = "a link that cannot be followed (" + err.Error() + ")"
	}
	return &problem.Error{Code: problem.Forbidden, What: what, Where: filepath.Join(dir, name),
		Fix: "Copy the file itself into the folder, or let the agent watch the folder in which it lies (--watch), and remove the link.", Err: err}
}

// open opens a regular file of the folder. It never waits for the writer of a
// pipe, and refuses devices.
func (r *reach) open(at string) (*os.File, error) {
	f, err := r.root.OpenFile(at, os.O_RDONLY|dontWait, 0)
	if err != nil {
		if info, lerr := r.root.Lstat(at); lerr == nil && isLink(info.Mode()) {
			err = linkProblem(r.dir, at, errOutside)
		}
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = problem.New(problem.Invalid, "no ordinary file but a folder, a pipe or a device", "Remove it from the watched folder.")
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// regular tells whether an ordinary file of that name lies in the folder.
func (r *reach) regular(name string) bool {
	_, info, err := r.find(name)
	return err == nil && info.Mode().IsRegular()
}

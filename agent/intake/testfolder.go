package intake

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"thudbook/metrics/format/iso13499"
	"thudbook/sync/lab"
)

// lookAgain is how long a folder of a test that was dealt with is not looked
// into: each look asks for the size of every file in it.
const lookAgain = 30 * time.Second

// sortTest looks into a folder within the watched one. One that holds a test
// after ISO/TS 13499 counts as one file; others are none of the acquisition's.
func (f *folder) sortTest(out *found, at *reach, name, path string, mapHash []byte) {
	if last, done := f.tests[name]; done && out.now.Sub(last) < lookAgain {
		out.files++
		return
	}
	p, err := openTest(at, path)
	if err != nil || p == nil {
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			out.files++
			g := f.follow(out, name)
			g.note(0, time.Time{}, out.now)
			f.fail(entry{name: name}, g, err)
			out.refused = append(out.refused, Waiting{Name: name, Since: g.since, Why: g.why, Fix: g.fix})
		}
		return
	}
	defer p.Close()
	out.files++
	e := entry{name: name, at: path, size: p.Size, mod: p.Newest, test: true}
	if f.known.has(name, e.size, e.mod, mapHash) {
		f.tests[name] = out.now
		return
	}
	delete(f.tests, name)
	f.follow(out, name).note(e.size, e.mod, out.now)
	out.fresh = append(out.fresh, e)
}

// test is a folder of the watched one as one stream.
type test struct {
	*iso13499.Packed
	root *os.Root
}

func (t *test) Close() error { return errors.Join(t.Packed.Close(), t.root.Close()) }

// openTest packs a folder; nil where it holds no test. Nothing outside of it is
// read: links in it are left out.
func openTest(at *reach, path string) (*test, error) {
	root, err := at.root.OpenRoot(path)
	if err != nil {
		return nil, err
	}
	if is, err := iso13499.IsTest(root.FS()); err != nil || !is {
		return nil, errors.Join(err, root.Close())
	}
	p, err := iso13499.Pack(root.FS())
	if err != nil {
		return nil, errors.Join(err, root.Close())
	}
	return &test{p, root}, nil
}

// takeTest takes in a finished folder as one tar, which is the same for the same
// files whenever it is made.
func (in *Intake) takeTest(ctx context.Context, r *reach, e entry, s *Submission) error {
	if err := in.acquire(ctx); err != nil {
		return err
	}
	defer in.release()
	p, err := openTest(r, e.at)
	if err != nil {
		return err
	}
	if p == nil {
		return errGrowing
	}
	defer p.Close()
	if p.Size != e.size || !p.Newest.Equal(e.mod) {
		return errGrowing
	}
	s.packed = true
	if e.size > in.opt.Limit {
		s.lost = true
		s.Ref, err = hashOnly(ctx, p)
	} else {
		s.Ref, err = in.Put(ctx, p, e.size)
	}
	if err != nil {
		return err
	}
	again, err := openTest(r, e.at)
	if err != nil {
		return err
	}
	if again == nil {
		return errGrowing
	}
	defer again.Close()
	if s.Ref.Size != e.size || again.Size != e.size || !again.Newest.Equal(e.mod) {
		return errGrowing
	}
	if n := len(p.LeftOut); n > 0 {
		s.notes = append(s.notes, note{lab.FlagLeftOut, fmt.Sprintf("%d of the folder's files and folders are not kept with the shot, since they hold no channels: %s", n, named(p.LeftOut))})
	}
	_, err = in.finish(ctx, s)
	return err
}

// named lists some names, and says how many more there are.
func named(all []string) string {
	const most = 5
	if len(all) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(all[:most], ", "), len(all)-most)
	}
	return strings.Join(all, ", ")
}

// onlyMarker keeps the rule that can be asked of a folder too.
func onlyMarker(rule string) string {
	if rule == "marker" {
		return rule
	}
	return "quiet"
}

// fileName is the name under which the bytes are kept.
func (s *Submission) fileName() string {
	if s.packed {
		return recordName(s.Name + ".tar")
	}
	return recordName(s.Name)
}

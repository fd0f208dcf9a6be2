package intake

import (
	"context"
	"slices"
	"time"

	"thudbook/metrics/chanmap"
	"thudbook/sync/kv"
)

// Untouched counts what lies in a folder that nothing was made of yet: what would
// become shots when it is watched by a channel map.
func (in *Intake) Untouched(ctx context.Context, dir string, m *chanmap.Map) (int, error) {
	all, err := in.untouched(ctx, dir, m)
	return len(all), err
}

// PassOver notes what lies in a folder that nothing was made of yet, so that it stays
// where it is and becomes no shot. It gives how many files that are. One that is
// written to afterwards is a new file.
func (in *Intake) PassOver(ctx context.Context, dir string, m *chanmap.Map) (int, error) {
	all, err := in.untouched(ctx, dir, m)
	if err != nil || len(all) == 0 {
		return 0, err
	}
	return len(all), in.opt.Store.Update(ctx, func(tx kv.Tx) error {
		for _, e := range all {
			if err := putSeen(tx, dir, &seenEntry{Name: e.name, Size: e.size, ModNS: e.mod.UnixNano()}); err != nil {
				return err
			}
		}
		return nil
	})
}

// untouched lists the files of a folder of which no look came to an end yet, as they
// are now. What one map could not read is left to the next, and what waits in a folder
// that is watched already is taken in: it may be a shot that only waits for a better map.
func (in *Intake) untouched(ctx context.Context, dir string, m *chanmap.Map) (out []entry, err error) {
	if slices.ContainsFunc(in.watched(), func(f *folder) bool { return f.dir == dir }) {
		return nil, nil
	}
	at, err := openReach(dir)
	if err != nil {
		return nil, err
	}
	defer at.close()
	marker := ""
	if m != nil {
		marker = m.Complete.Marker
	}
	f := &folder{dir: dir, in: in, grow: map[string]*growing{}, tests: map[string]time.Time{}}
	if f.known, err = loadKnown(ctx, in.opt.Store, dir); err != nil {
		return nil, err
	}
	found, err := f.list(ctx, at, nil, marker)
	if err != nil {
		return nil, err
	}
	err = in.opt.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for _, e := range found.fresh {
			was, err := getSeen(r, dir, e.name)
			if err != nil {
				return err
			}
			if was == nil || was.Size != e.size || was.ModNS != e.mod.UnixNano() {
				out = append(out, e)
			}
		}
		return nil
	})
	return out, err
}

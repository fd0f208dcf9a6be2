package intake

import (
	"context"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/amend"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Assignment says of a shot what its file did not. Fields of Meta that are
// empty, and an empty Kind, stay as they are.
type Assignment struct {
	Shot   uuid.UUID
	Meta   lab.Meta
	Kind   string
	Author string // "node" when empty: somebody at the rig, who is not asked for a name
	// OnlyMissing leaves alone what is recorded already.
	OnlyMissing bool
}

// Assign writes an edit for each field that changes. Each names the edits that
// it replaces, so that concurrent edits are seen. It gives the number of edits.
func (in *Intake) Assign(ctx context.Context, a Assignment) (int, error) {
	if err := a.Meta.Validate(); err != nil {
		return 0, firstProblem(err)
	}
	doubtful := in.checkFiredAt(a.Meta.FiredAt)
	if doubtful != nil && !a.OnlyMissing {
		return 0, doubtful
	}
	if a.Kind != "" && !slices.Contains(lab.ShotKinds(), a.Kind) {
		return 0, problem.New(problem.Invalid, "The kind "+a.Kind+" is not known.", "Choose one of "+strings.Join(lab.ShotKinds(), ", ")+".")
	}
	return in.Amend(ctx, a.Shot, func(row *view.ShotRow) ([]ledger.Draft, error) { return a.edits(row, doubtful == nil) })
}

// Amend changes a shot that is recorded; it gives the number of records.
func (in *Intake) Amend(ctx context.Context, shot uuid.UUID, do amend.Change) (int, error) {
	n, err := amend.Shot(ctx, in.opt.Ledger, in.opt.Views.Reader(in.opt.Store), scope.All(), shot, do)
	switch {
	case problem.Of(err) == problem.NotFound:
		return 0, err
	case err != nil:
		return 0, in.appendFailed(ctx, err)
	case n > 0:
		in.recorded()
		in.restate(ctx, shot)
	}
	return n, nil
}

// edits makes the edits; timed says that fired_at, if there is one, dates the shot.
func (a *Assignment) edits(row *view.ShotRow, timed bool) ([]ledger.Draft, error) {
	now := amend.Values(&row.Shot.Meta)
	want := amend.Values(&a.Meta)
	if a.OnlyMissing {
		maps.DeleteFunc(want, func(name string, _ any) bool { return now[name] != nil })
	}
	// Every shot has a kind; it counts as missing until a person or a file said one.
	if _, edited := row.Edited["kind"]; a.Kind != "" && !(a.OnlyMissing && edited) {
		now["kind"], want["kind"] = row.Shot.Kind, a.Kind
	}
	if at, ok := want["fired_at"]; ok && timed && at != now["fired_at"] {
		now["effective_at"], want["effective_at"] = row.Shot.EffectiveAt, at
		now["effective_from"], want["effective_from"] = row.Shot.EffectiveFrom, a.from()
	}
	var drafts []ledger.Draft
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if now[name] == want[name] {
			continue
		}
		e, err := lab.NewEdit(a.Shot, lab.KindShot, name, want[name], row.Base(name)...)
		if err != nil {
			return nil, firstProblem(err)
		}
		d, err := draft(a.Shot, e)
		if err != nil {
			return nil, err
		}
		if a.Author != "" {
			d.Author = a.Author
		}
		drafts = append(drafts, d)
	}
	return drafts, nil
}

// from says where a time that is assigned came from.
func (a *Assignment) from() string {
	if a.OnlyMissing {
		return lab.FromMeta
	}
	return lab.FromTyped
}

func firstProblem(err error) error {
	if p, ok := problem.As(err); ok {
		return p
	}
	return err
}

// lateMeta applies a meta file whose shot was taken in before it came. What
// the shot says already is left alone.
func (f *folder) lateMeta(ctx context.Context, at *reach, e entry, quiet time.Duration) {
	g := f.grow[e.name]
	if g == nil || time.Since(g.changed) < quiet {
		return // perhaps still being written
	}
	id, found, err := f.shotOf(ctx, e.name)
	if err != nil || !found {
		return // its file has not come yet; it is looked for again
	}
	b, read, err := readMeta(at, e.name)
	if err != nil || read.size != e.size || !read.mod.Equal(e.mod) {
		return
	}
	mark := &seenEntry{Name: e.name, Size: e.size, ModNS: e.mod.UnixNano(), ID: id, Meta: true}
	m, kind, faults, err := lab.ReadMeta(b)
	for _, fault := range append(faults, f.in.checkFiredAt(m.FiredAt)) {
		if fault != nil {
			f.in.opt.Log.Warn("a part of the meta file cannot be used", "folder", f.dir, "file", e.name, "shot", id, "error", fault)
		}
	}
	if err != nil {
		f.in.opt.Log.Warn("meta file cannot be used", "folder", f.dir, "file", e.name, "shot", id, "error", err)
	} else if _, err = f.in.Assign(ctx, Assignment{Shot: id, Meta: m, Kind: kind, Author: lab.AuthorMeta, OnlyMissing: true}); err != nil {
		f.in.opt.Log.Warn("meta file could not be applied", "folder", f.dir, "file", e.name, "shot", id, "error", err)
		return
	}
	err = f.in.opt.Store.Update(ctx, func(tx kv.Tx) error { return putSeen(tx, f.dir, mark) })
	if err != nil {
		f.in.opt.Log.Warn("the meta file is applied; that it was cannot be noted yet", "folder", f.dir, "file", e.name, "error", err)
		return
	}
	f.known.add(mark)
}

// shotOf finds the shot that was made from the file a meta file stands beside.
func (f *folder) shotOf(ctx context.Context, metaName string) (id uuid.UUID, found bool, err error) {
	exact, stem := targetsOf(metaName)
	err = f.in.opt.Store.View(ctx, func(r kv.Reader) error {
		e, err := getSeen(r, f.dir, exact)
		if err != nil {
			return err
		}
		if e != nil && e.Taken {
			id, found = e.ID, true
			return nil
		}
		from := kv.Join(kv.Str(f.dir), []byte(stem))
		for kvEntry, err := range r.Scan(seenTable, from, kv.PrefixEnd(from)) {
			if err != nil {
				return err
			}
			var e seenEntry
			if record.DecodeBody(kvEntry.Value, &e) == nil && e.Taken && strings.TrimSuffix(e.Name, filepath.Ext(e.Name))+"." == stem {
				id, found = e.ID, true
				return nil
			}
		}
		return nil
	})
	return id, found, err
}

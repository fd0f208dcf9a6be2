package view

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Reader answers questions from the views. Each call is one short transaction;
// what it returns is the caller's own. All of its calls take the scope of the
// caller: a document outside it is a problem with code not_found.
type Reader struct {
	set   *Set
	store kv.Store
}

// Reader reads the views in a store.
func (s *Set) Reader(store kv.Store) *Reader { return &Reader{set: s, store: store} }

// Within is a reader that sees what an open transaction sees. It serves until
// that ends.
func Within(v *Reader, r kv.Reader) *Reader { return &Reader{set: v.set, store: within{r: r}} }

// within is a store that knows one transaction.
type within struct {
	kv.Store
	r kv.Reader
}

func (w within) View(_ context.Context, fn func(kv.Reader) error) error { return fn(w.r) }

func notFound(kind record.Kind, id uuid.UUID) error {
	e := problem.New(problem.NotFound, fmt.Sprintf("There is no %s of this id.", lab.KindWords(kind)), "Check the link, or look it up in the list.")
	e.Where = id.String()
	return e
}

// find gives the document of an id within a scope; where several labs of the
// scope have one, that of the first lab.
func find[B any](r kv.Reader, t *index.Table[doc[B]], sc scope.Scope, id uuid.UUID) (*doc[B], error) {
	for d, err := range t.Scan(r, id[:], kv.PrefixEnd(id[:]), false) {
		if err != nil {
			return nil, err
		}
		if d.shown() && sc.Allows(d.Lab) {
			return d, nil
		}
	}
	return nil, nil
}

// get is find for one call.
func get[B any](ctx context.Context, v *Reader, t *index.Table[doc[B]], sc scope.Scope, kind record.Kind, id uuid.UUID) (d *doc[B], err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err = find(r, t, sc, id)
		return err
	})
	if err == nil && d == nil {
		err = notFound(kind, id)
	}
	return d, err
}

// list is run for one call, with the rows made for the caller.
func list[T, R any](ctx context.Context, v *Reader, sc scope.Scope, q query[T], page Page, row func(*T) R) (out List[R], err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		rows, next, err := run(r, labs, q, page)
		if err != nil {
			return err
		}
		out = List[R]{Rows: make([]R, 0, len(rows)), Next: next}
		for _, d := range rows {
			out.Rows = append(out.Rows, row(d))
		}
		return nil
	})
	return out, err
}

func labOnly(id record.LabID) []byte { return id[:] }

// byNames is the query of a list by name.
func byNames[B any](t *index.Table[doc[B]], names func(*B) [][]byte) query[doc[B]] {
	return query[doc[B]]{
		table: t, index: byName, prefix: labOnly,
		key: func(d *doc[B]) []byte { return kv.Join(names(d.body())...) },
	}
}

func utc(ns int64) time.Time { return time.Unix(0, ns).UTC() }

// Labs lists the labs of the scope with their counts, at most n (0: MaxLimit),
// those with the lowest ids. A lab without a record here is not listed.
func (v *Reader) Labs(ctx context.Context, sc scope.Scope, n int) (out []LabRow, err error) {
	if n <= 0 || n > MaxLimit {
		n = MaxLimit
	}
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		labs, err := v.set.labsOf(r, sc)
		for _, id := range labs {
			if err != nil || len(out) == n {
				break
			}
			var l *labRow
			var ok bool
			if l, ok, err = v.set.labs.Get(r, id[:]); err == nil && ok {
				row := LabRow{Lab: id, Name: l.Name}
				err = v.count(r, &row)
				out = append(out, row)
			}
		}
		return err
	})
	return out, err
}

func (v *Reader) count(r kv.Reader, l *LabRow) (err error) {
	s := v.set
	if l.Shots, err = s.shots.Count(r, perLab, l.Lab[:]); err != nil {
		return err
	}
	if l.ToAssign, err = s.shots.Count(r, byAssign, l.Lab[:]); err != nil {
		return err
	}
	if l.Quarantine, err = s.quarantine.Count(r, byOpen, l.Lab[:]); err != nil {
		return err
	}
	l.Sightings, err = s.sightings.Count(r, byOpen, l.Lab[:])
	return err
}

// Odd lists the records that the views cannot use.
func (v *Reader) Odd(ctx context.Context, sc scope.Scope, n int) (out []OddRow, err error) {
	if n <= 0 || n > MaxLimit {
		n = MaxLimit
	}
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		for _, id := range labs {
			for o, err := range v.set.odd.Scan(r, id[:], kv.PrefixEnd(id[:]), true) {
				if err != nil || len(out) == n {
					return err
				}
				out = append(out, OddRow{Lab: o.Lab, Ref: o.Stamp.Ref(), Kind: o.Kind, Author: o.Author, Why: o.Why})
			}
		}
		return nil
	})
	return out, err
}

// exists says whether a document that can be edited lies in the scope.
func (s *Set) exists(r kv.Reader, sc scope.Scope, kind record.Kind, id uuid.UUID) (ok bool, err error) {
	switch kind {
	case lab.KindShot:
		ok, err = has(r, s.shots, sc, id)
	case lab.KindRig:
		ok, err = has(r, s.rigs, sc, id)
	case lab.KindItem:
		ok, err = has(r, s.items, sc, id)
	case lab.KindCampaign:
		ok, err = has(r, s.campaigns, sc, id)
	}
	return ok, err
}

func has[B any](r kv.Reader, t *index.Table[doc[B]], sc scope.Scope, id uuid.UUID) (bool, error) {
	d, err := find(r, t, sc, id)
	return d != nil, err
}

// History lists the edits of a document, field by field, each from the oldest
// to the newest, at most MaxLimit.
func (v *Reader) History(ctx context.Context, sc scope.Scope, kind record.Kind, id uuid.UUID) (out []Change, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		if ok, err := v.set.exists(r, sc, kind, id); err != nil || !ok {
			return cmp.Or(err, notFound(kind, id))
		}
		for e, err := range v.set.edits.Scan(r, id[:], kv.PrefixEnd(id[:]), false) {
			if err != nil || len(out) == MaxLimit {
				return err
			}
			if e.Kind == kind && sc.Allows(e.Lab) {
				out = append(out, e.change())
			}
		}
		return nil
	})
	return out, err
}

// Change is one edit in the history of a document.
type Change struct {
	Field      string
	Value      any
	Ref        lab.EditRef
	Author     string
	RecordedAt time.Time
	Base       []lab.EditRef
}

func (e *editRow) change() Change {
	f := fieldOf(e).edit()
	return Change{Field: e.Field, Value: f.Value, Ref: f.Ref, Author: e.Author, RecordedAt: utc(e.WallNS), Base: e.Base}
}

package view

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// said is one statement about something, kept for ever. Those about one thing
// sort by lab and stamp.
type said[B any] struct {
	About  []byte       `json:"k"`
	Lab    record.LabID `json:"l"`
	Stamp  Stamp        `json:"t"`
	Author string       `json:"a"`
	WallNS int64        `json:"w"`
	Body   B            `json:"b"`
}

// sayings is a table of statements; about is the key of what one speaks of.
type sayings[B any] struct {
	*index.Table[said[B]]
	about func(*B) []byte
}

func saidTable[B any](name kv.Table, about func(*B) []byte) sayings[B] {
	return sayings[B]{about: about, Table: &index.Table[said[B]]{
		Name: name,
		Key:  func(s *said[B]) []byte { return kv.Join(s.About, s.Lab[:], s.Stamp.key()) },
	}}
}

// say keeps a statement.
func say[B any](tx kv.Tx, t sayings[B], r *record.Record, b *B) error {
	return t.Put(tx, &said[B]{About: t.about(b), Lab: r.Lab, Stamp: stampOf(r), Author: r.Author, WallNS: r.WallNS, Body: *b})
}

// all gives what was said of a thing, within a scope, by lab and then from the
// oldest to the newest.
func (t sayings[B]) all(r kv.Reader, sc scope.Scope, about []byte) (out []*said[B], err error) {
	for s, err := range t.Scan(r, about, kv.PrefixEnd(about), false) {
		if err != nil {
			return nil, err
		}
		if sc.Allows(s.Lab) {
			out = append(out, s)
		}
	}
	return out, nil
}

// last gives the newest that was said of a thing, or nil.
func (t sayings[B]) last(r kv.Reader, sc scope.Scope, about []byte) (*said[B], error) {
	all, err := t.all(r, sc, about)
	var out *said[B]
	for _, s := range all {
		if out == nil || s.Stamp.Compare(out.Stamp) > 0 {
			out = s
		}
	}
	return out, err
}

// Acceptance says who let a shot's result stand, and when.
type Acceptance struct {
	Author     string
	RecordedAt time.Time
	stamp      Stamp
}

// Of says whether it is the result which holds that was accepted, and not one before
// it: the shot may have been computed again since.
func (a *Acceptance) Of(r *ShotRow) bool { return a != nil && a.stamp.Compare(r.scored) > 0 }

func acceptance(s *said[lab.Accepted]) *Acceptance {
	return &Acceptance{Author: s.Author, RecordedAt: utc(s.WallNS), stamp: s.Stamp}
}

// Accepted gives the newest acceptance of a shot, nil when there is none.
func (v *Reader) Accepted(ctx context.Context, sc scope.Scope, shot uuid.UUID) (a *Acceptance, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		s, err := v.set.accepted.last(r, sc, shot[:])
		if err == nil && s != nil {
			a = acceptance(s)
		}
		return err
	})
	return a, err
}

// Acceptances lists all of a shot, oldest first.
func (v *Reader) Acceptances(ctx context.Context, sc scope.Scope, shot uuid.UUID) (out []Acceptance, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		all, err := v.set.accepted.all(r, sc, shot[:])
		for _, s := range all {
			out = append(out, *acceptance(s))
		}
		return err
	})
	slices.SortFunc(out, func(a, b Acceptance) int { return a.stamp.Compare(b.stamp) })
	return out, err
}

// display takes in the unit in which a lab sets pressures: the newest holds.
func (s *Set) display(tx kv.Tx, r *record.Record, b *lab.Display) error {
	l, ok, err := s.labs.Get(tx, r.Lab[:])
	if err != nil {
		return err
	}
	if !ok {
		l = &labRow{Lab: r.Lab}
	}
	if st := stampOf(r); st.Compare(l.Switched) > 0 {
		l.Switched, l.Display = st, b.Pressure
	}
	return s.labs.Put(tx, l)
}

// PressureUnit is the unit in which the labs of a scope set pressures, the one
// that was chosen last; "" when nobody chose one.
func (v *Reader) PressureUnit(ctx context.Context, sc scope.Scope) (unit string, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		labs, err := v.set.labsOf(r, sc)
		var newest Stamp
		for _, id := range labs {
			if err != nil {
				return err
			}
			var l *labRow
			var ok bool
			if l, ok, err = v.set.labs.Get(r, id[:]); err == nil && ok && l.Display != "" && l.Switched.Compare(newest) > 0 {
				newest, unit = l.Switched, l.Display
			}
		}
		return err
	})
	return unit, err
}

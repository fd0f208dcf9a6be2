package view

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// doc is the stored row of one document. It is a function of the set of
// records about the document; see the package comment.
type doc[B any] struct {
	UID     uuid.UUID        `json:"u"`
	Lab     record.LabID     `json:"l"`
	Made    *made[B]         `json:"m,omitempty"` // nil: its own record is not here yet, so it is hidden
	Twin    bool             `json:"t,omitempty"`
	Fields  map[string]field `json:"f,omitempty"`
	Mark    *Mark            `json:"k,omitempty"`
	Figures *figured         `json:"g,omitempty"`

	now *B // Made.Body with Fields, computed when first asked for
	bad []string
}

// made is the record that stated the document.
type made[B any] struct {
	Stamp       Stamp               `json:"t"`
	Author      string              `json:"a"`
	WallNS      int64               `json:"w"`
	Attachments []record.Attachment `json:"x,omitempty"`
	Body        B                   `json:"b"`
}

// figured is the score that holds, in short.
type figured struct {
	Stamp   Stamp   `json:"t"`
	Turn    uint32  `json:"n,omitempty"`
	Figures Figures `json:"f"`

	Map record.Hash `json:"m,omitzero"` // that it was computed by
}

// shown says that the document's own record has arrived.
func (d *doc[B]) shown() bool { return d.Made != nil }

// stands says that it is shown and neither void nor withdrawn.
func (d *doc[B]) stands() bool { return d.shown() && (d.Mark == nil || d.Mark.Lifted) }

// body gives the document with its edits, nil while it is hidden.
func (d *doc[B]) body() *B {
	if d.Made == nil {
		return nil
	}
	if d.now == nil {
		d.now = new(d.Made.Body)
		if len(d.Fields) > 0 {
			d.overlay()
		}
	}
	return d.now
}

func (d *doc[B]) overlay() {
	values := make(map[string][]byte, len(d.Fields))
	for name, f := range d.Fields {
		values[name] = f.Value
	}
	b, bad, err := lab.Overlay(d.Made.Body, values)
	if err != nil { // the body was decoded from CBOR before, so this is a fault of the program
		bad = nil
		for name := range values {
			bad = append(bad, name)
		}
		slices.Sort(bad)
	} else {
		*d.now = b
	}
	d.bad = bad
}

func (d *doc[B]) head() Head {
	d.body()
	h := Head{
		ID: d.UID, Lab: d.Lab, Author: d.Made.Author, RecordedAt: time.Unix(0, d.Made.WallNS).UTC(),
		Unusable: slices.Clone(d.bad), Twin: d.Twin, stamp: d.Made.Stamp,
	}
	if d.Mark != nil && !d.Mark.Lifted {
		h.Withdrawn = new(*d.Mark)
	}
	if d.Mark != nil {
		h.MarkTurn = d.Mark.Turn
	}
	if len(d.Fields) > 0 {
		h.Edited = make(map[string]Edit, len(d.Fields))
		for name, f := range d.Fields {
			h.Edited[name] = f.edit()
		}
	}
	return h
}

// docKey is the primary key of every row: the document, then its lab.
func docKey(uid uuid.UUID, of record.LabID) []byte { return kv.Join(uid[:], of[:]) }

func keyOf[B any](d *doc[B]) []byte { return docKey(d.UID, d.Lab) }

// one makes the result of an index function: no entry, or one.
func one(parts ...[]byte) [][]byte { return [][]byte{kv.Join(parts...)} }

// when is the part of a key that sorts by time.
func when(t lab.Time) []byte { return kv.I64(int64(t)) }

// change reads a row, or starts one, changes it and puts it back.
func change[B any](tx kv.Tx, t *index.Table[doc[B]], uid uuid.UUID, of record.LabID, f func(*doc[B])) error {
	d, ok, err := t.Get(tx, docKey(uid, of))
	if err != nil {
		return err
	}
	if !ok {
		d = &doc[B]{UID: uid, Lab: of}
	}
	f(d)
	d.now, d.bad = nil, nil
	return t.Put(tx, d)
}

// state takes in the record that states a document: the earliest holds.
func state[B any](tx kv.Tx, t *index.Table[doc[B]], r *record.Record, body *B) error {
	return change(tx, t, r.UID, r.Lab, func(d *doc[B]) {
		m := &made[B]{Stamp: stampOf(r), Author: r.Author, WallNS: r.WallNS, Attachments: r.Attachments, Body: *body}
		if d.Made == nil {
			d.Made = m
			return
		}
		switch m.Stamp.Compare(d.Made.Stamp) {
		case -1:
			d.Made, d.Twin = m, true
		case 1:
			d.Twin = true
		}
	})
}

// mark takes in a register: the one of the highest turn holds, the newest among
// equals.
func mark[B any](tx kv.Tx, t *index.Table[doc[B]], r *record.Record, uid uuid.UUID, m Mark) error {
	m.Stamp, m.Author = stampOf(r), r.Author
	return change(tx, t, uid, r.Lab, func(d *doc[B]) {
		if d.Mark == nil || m.Turn > d.Mark.Turn || m.Turn == d.Mark.Turn && m.Stamp.Compare(d.Mark.Stamp) > 0 {
			d.Mark = &m
		}
	})
}

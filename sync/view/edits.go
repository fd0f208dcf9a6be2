package view

import (
	"bytes"
	"errors"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// editRow is one edit of one field, kept for ever.
type editRow struct {
	Doc    uuid.UUID     `json:"d"`
	Lab    record.LabID  `json:"l"`
	Kind   record.Kind   `json:"k"`
	Field  string        `json:"f"`
	Stamp  Stamp         `json:"t"`
	Author string        `json:"a"`
	WallNS int64         `json:"w"`
	Value  []byte        `json:"v"`
	Base   []lab.EditRef `json:"b,omitempty"`
}

func fieldPrefix(doc uuid.UUID, of record.LabID, kind record.Kind, name string) []byte {
	return kv.Join(doc[:], of[:], kv.Str(kind), kv.Str(name))
}

func editTable() *index.Table[editRow] {
	return &index.Table[editRow]{
		Name: "view.edit",
		Key: func(e *editRow) []byte {
			return kv.Join(fieldPrefix(e.Doc, e.Lab, e.Kind, e.Field), e.Stamp.key())
		},
	}
}

// field is the outcome of all edits of one field.
type field struct {
	Value  []byte      `json:"v"`
	Ref    lab.EditRef `json:"r"`
	Author string      `json:"a"`
	Others []field     `json:"o,omitempty"`
}

func (f field) edit() Edit {
	e := Edit{Ref: f.Ref, Author: f.Author}
	if record.DecodeBody(f.Value, &e.Value) != nil {
		e.Value = bytes.Clone(f.Value)
	}
	for _, o := range f.Others {
		e.Others = append(e.Others, o.edit())
	}
	return e
}

// settle decides a field over all of its edits, given in the order of their
// stamps. An edit is replaced by one that names it as its base, and by a later
// one of the same origin, whose writer knew it. Of those that nothing replaced
// the newest holds; the others are shown beside it where they differ.
func settle(edits []*editRow) field {
	type chain struct {
		node   uuid.UUID
		epoch  uint32
		branch uint64
	}
	chainOf := func(s Stamp) chain { return chain{s.Node, s.Epoch, s.Branch} }
	replaced := map[lab.EditRef]bool{}
	last := map[chain]uint64{}
	for _, e := range edits {
		for _, b := range e.Base {
			if b != e.Stamp.Ref() {
				replaced[b] = true
			}
		}
		c := chainOf(e.Stamp)
		last[c] = max(last[c], e.Stamp.Seq)
	}
	var open []*editRow
	for _, e := range edits {
		if !replaced[e.Stamp.Ref()] && last[chainOf(e.Stamp)] == e.Stamp.Seq {
			open = append(open, e)
		}
	}
	if len(open) == 0 { // edits that name each other in a ring
		open = edits
	}
	slices.Reverse(open)
	out := fieldOf(open[0])
	for _, e := range open[1:] {
		if !bytes.Equal(e.Value, out.Value) {
			out.Others = append(out.Others, fieldOf(e))
		}
	}
	return out
}

func fieldOf(e *editRow) field {
	return field{Value: e.Value, Ref: e.Stamp.Ref(), Author: e.Author}
}

// edit takes in an edit of one field.
func (s *Set) edit(tx kv.Tx, r *record.Record, b *lab.FieldEdit) error {
	row := &editRow{
		Doc: b.Doc, Lab: r.Lab, Kind: b.DocKind, Field: b.Field, Stamp: stampOf(r),
		Author: r.Author, WallNS: r.WallNS, Value: b.Value, Base: b.Base,
	}
	if err := s.edits.Put(tx, row); err != nil {
		return err
	}
	var all []*editRow
	prefix := fieldPrefix(b.Doc, r.Lab, b.DocKind, b.Field)
	for e, err := range s.edits.Scan(tx, prefix, kv.PrefixEnd(prefix), false) {
		if err != nil {
			return err
		}
		all = append(all, e)
	}
	f := settle(all)
	switch b.DocKind {
	case lab.KindShot:
		return setField(tx, s.shots, r, b, f)
	case lab.KindRig:
		return setField(tx, s.rigs, r, b, f)
	case lab.KindItem:
		return setField(tx, s.items, r, b, f)
	case lab.KindCampaign:
		return setField(tx, s.campaigns, r, b, f)
	case lab.KindServicePlan:
		return setField(tx, s.servicePlans, r, b, f)
	case lab.KindWorkOrder:
		return setField(tx, s.workOrders, r, b, f)
	}
	return unusable{errors.New("the document has no fields that can be edited")}
}

func setField[B any](tx kv.Tx, t *index.Table[doc[B]], r *record.Record, b *lab.FieldEdit, f field) error {
	return change(tx, t, b.Doc, r.Lab, func(d *doc[B]) {
		if d.Fields == nil {
			d.Fields = map[string]field{}
		}
		d.Fields[b.Field] = f
	})
}

package view

import (
	"bytes"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// carriedRow is a part of a carried record that came in several.
type carriedRow struct {
	Lab   record.LabID  `json:"l"`
	Node  record.NodeID `json:"w"` // whose chain the carriers are in
	Hash  record.Hash   `json:"h"`
	Part  uint          `json:"p"`
	Parts uint          `json:"n"`
	Raw   []byte        `json:"r"`
}

func carriedTable() *index.Table[carriedRow] {
	return &index.Table[carriedRow]{
		Name: "view.carried",
		Key:  func(c *carriedRow) []byte { return kv.Join(c.Lab[:], c.Hash[:], c.Node[:], kv.U32(uint32(c.Part))) },
	}
}

// rehomed takes in a record that another one carries, as if it stood in a chain
// of its own: with its own clock, author and attachments. Carried twice, or in
// any order, it says the same, so it counts once; one that cannot be used stands
// once on the list of such records, under its own stamp.
func (s *Set) rehomed(tx kv.Tx, r *record.Record) error {
	var h record.Rehomed
	if err := record.DecodeBody(r.Body, &h); err != nil {
		return unusable{err}
	}
	if err := h.Check(r); err != nil {
		return unusable{err}
	}
	raw, whole, err := s.join(tx, r, &h)
	if err != nil || !whole {
		return err
	}
	inner, err := h.Open(r, raw)
	if err != nil {
		return unusable{err}
	}
	if inner.Kind == lab.KindEdit {
		if err := branchBases(&inner, &h); err != nil {
			return s.orOdd(tx, &inner, err)
		}
	}
	if _, err = s.reduce(tx, &inner); err == nil {
		return nil
	}
	return s.orOdd(tx, &inner, err)
}

// join gives the whole bytes once all parts are here.
func (s *Set) join(tx kv.Tx, r *record.Record, h *record.Rehomed) ([]byte, bool, error) {
	if h.Parts == 1 {
		return h.Raw, true, nil
	}
	err := s.carried.Put(tx, &carriedRow{Lab: r.Lab, Node: record.NodeID(r.Node), Hash: h.Hash, Part: h.Part, Parts: h.Parts, Raw: h.Raw})
	if err != nil {
		return nil, false, err
	}
	var raw []byte
	n := uint(0)
	prefix := kv.Join(r.Lab[:], h.Hash[:], r.Node[:])
	for c, err := range s.carried.Scan(tx, prefix, kv.PrefixEnd(prefix), false) {
		if err != nil {
			return nil, false, err
		}
		raw, n = append(raw, c.Raw...), n+1
	}
	return raw, n == h.Parts, nil
}

// branchBases makes the edit's bases name what its writer saw: records of its
// own history, which are carried over too, and not those that stand in their
// places now.
func branchBases(r *record.Record, h *record.Rehomed) error {
	var e lab.FieldEdit
	if err := record.DecodeBody(r.Body, &e); err != nil {
		return unusable{err}
	}
	e.Base = slices.Clone(e.Base)
	for i, b := range e.Base {
		if b.Node == r.Node && b.Epoch == h.Epoch && b.Seq > h.After && b.Branch == 0 {
			e.Base[i].Branch = h.BranchMark()
		}
	}
	body, err := record.EncodeBody(e)
	if err != nil {
		return err
	}
	if !bytes.Equal(body, r.Body) {
		r.Body = body
	}
	return nil
}

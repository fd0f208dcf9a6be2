package view

import (
	"bytes"
	"cmp"

	"github.com/google/uuid"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// Stamp orders the records about one document: by clock, then by origin and
// sequence number. No two records of a lab share one.
type Stamp struct {
	Clock hlc.Time  `json:"c"`
	Node  uuid.UUID `json:"n"`
	Epoch uint32    `json:"e"`
	Seq   uint64    `json:"s"`
}

func stampOf(r *record.Record) Stamp {
	return Stamp{Clock: r.Clock, Node: r.Node, Epoch: r.Epoch, Seq: r.Seq}
}

// Compare gives -1, 0 or 1.
func (s Stamp) Compare(o Stamp) int {
	return cmp.Or(
		cmp.Compare(s.Clock, o.Clock),
		bytes.Compare(s.Node[:], o.Node[:]),
		cmp.Compare(s.Epoch, o.Epoch),
		cmp.Compare(s.Seq, o.Seq),
	)
}

// Ref is the place of the record in its lab.
func (s Stamp) Ref() lab.EditRef { return lab.EditRef{Node: s.Node, Epoch: s.Epoch, Seq: s.Seq} }

// key gives 36 bytes that sort as stamps do.
func (s Stamp) key() []byte {
	return kv.Join(kv.U64(uint64(s.Clock)), s.Node[:], kv.U32(s.Epoch), kv.U64(s.Seq))
}

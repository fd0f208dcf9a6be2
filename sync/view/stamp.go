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
	// Branch marks a record that was carried over from a second history of its
	// origin (see record.Rehomed); 0: it stands in its own place.
	Branch uint64 `json:"b,omitempty"`
}

func stampOf(r *record.Record) Stamp {
	return Stamp{Clock: r.Clock, Node: r.Node, Epoch: r.Epoch, Seq: r.Seq, Branch: r.Branch}
}

// Compare gives -1, 0 or 1.
func (s Stamp) Compare(o Stamp) int {
	return cmp.Or(
		cmp.Compare(s.Clock, o.Clock),
		bytes.Compare(s.Node[:], o.Node[:]),
		cmp.Compare(s.Epoch, o.Epoch),
		cmp.Compare(s.Seq, o.Seq),
		cmp.Compare(s.Branch, o.Branch),
	)
}

// Ref is the place of the record in its lab.
func (s Stamp) Ref() lab.EditRef {
	return lab.EditRef{Node: s.Node, Epoch: s.Epoch, Seq: s.Seq, Branch: s.Branch}
}

// key gives 44 bytes that sort as stamps do.
func (s Stamp) key() []byte {
	return kv.Join(kv.U64(uint64(s.Clock)), s.Node[:], kv.U32(s.Epoch), kv.U64(s.Seq), kv.U64(s.Branch))
}

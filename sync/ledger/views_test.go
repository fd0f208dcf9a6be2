package ledger_test

import (
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/record"
)

// notes is a small but real view: one row per record, found by kind, counted
// per lab. It keeps to the rule that order across origins does not matter.
type notes struct{ version string }

type note struct {
	ID   []byte `json:"id"`
	Lab  []byte `json:"lab"`
	Kind string `json:"kind"`
	Size int    `json:"size"`
}

var noteTable = &index.Table[note]{
	Name:    "test.notes",
	Key:     func(n *note) []byte { return n.ID },
	Indexes: []index.Index[note]{{Name: "kind", Keys: func(n *note) [][]byte { return [][]byte{[]byte(n.Kind)} }}},
	Tallies: []index.Tally[note]{{Name: "lab", Of: func(n *note) []index.Count { return []index.Count{{Key: n.Lab, N: 1}} }}},
}

func (notes) Tables() []kv.Table { return noteTable.Tables() }

func (n notes) Version() string { return n.version }

func (notes) Apply(tx kv.Tx, r *record.Record) error {
	return noteTable.Put(tx, &note{
		ID: fmt.Appendf(nil, "%s/%020d", r.Origin(), r.Seq), Lab: r.Lab[:], Kind: string(r.Kind), Size: len(r.Body),
	})
}

package index

import (
	"bytes"
	"fmt"
	"iter"

	"thudbook/sync/kv"
)

// Difference is the first place where two copies of a table part. A nil A or B
// means that the key is absent there.
type Difference struct {
	Table kv.Table
	Key   []byte
	A, B  []byte
}

// String says in words where the copies differ.
func (d Difference) String() string {
	switch {
	case d.A == nil:
		return fmt.Sprintf("table %q, key %x: only in the second copy", d.Table, d.Key)
	case d.B == nil:
		return fmt.Sprintf("table %q, key %x: only in the first copy", d.Table, d.Key)
	}
	return fmt.Sprintf("table %q, key %x: the values differ (%d and %d bytes)", d.Table, d.Key, len(d.A), len(d.B))
}

// Compare gives, for each table whose copies in a and b are not byte for byte
// the same, the first key that differs.
func Compare(a, b kv.Reader, tables ...kv.Table) ([]Difference, error) {
	var all []Difference
	for _, t := range tables {
		d, err := compareTable(a, b, t)
		if err != nil {
			return all, fmt.Errorf("compare table %s: %w", t, err)
		}
		if d != nil {
			all = append(all, *d)
		}
	}
	return all, nil
}

func compareTable(a, b kv.Reader, t kv.Table) (*Difference, error) {
	next, stop := iter.Pull2(b.Scan(t, nil, nil))
	defer stop()
	for ea, err := range a.Scan(t, nil, nil) {
		if err != nil {
			return nil, err
		}
		eb, err, ok := next()
		if err != nil {
			return nil, err
		}
		order := -1 // b has ended: the key is only in a
		if ok {
			order = bytes.Compare(ea.Key, eb.Key)
		}
		if order == 0 && bytes.Equal(ea.Value, eb.Value) {
			continue
		}
		d := &Difference{Table: t}
		if order <= 0 {
			d.Key, d.A = bytes.Clone(ea.Key), bytes.Clone(ea.Value)
		}
		if order >= 0 {
			d.Key, d.B = bytes.Clone(eb.Key), bytes.Clone(eb.Value)
		}
		return d, nil
	}
	eb, err, ok := next()
	if err != nil || !ok {
		return nil, err
	}
	return &Difference{Table: t, Key: bytes.Clone(eb.Key), B: bytes.Clone(eb.Value)}, nil
}

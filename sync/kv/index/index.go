// Package index keeps typed values with secondary indexes and tallies in
// tables of a kv store. A view declares its keys once; upkeep under
// replacement and deletion, and comparison with a rebuilt copy, are generic.
package index

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"

	"thudbook/sync/kv"
)

// Index leads from keys computed from a value to the value; several values may
// share a key, and a value may have several keys or none.
type Index[T any] struct {
	Name string
	Keys func(*T) [][]byte
}

// Tally keeps one sum per key over all values.
type Tally[T any] struct {
	Name string
	Of   func(*T) []Count
}

// Count is one value's share in a sum, or the sum itself.
type Count struct {
	Key []byte
	N   int64
}

// Table keeps values of T under a primary key. The functions must depend on
// nothing but the value: what they gave when a value came in is taken back by
// calling them again on the stored value.
type Table[T any] struct {
	Name    kv.Table
	Key     func(*T) []byte
	Indexes []Index[T]
	Tallies []Tally[T]
}

// Tables names everything the table writes, for dropping and comparing.
func (t *Table[T]) Tables() []kv.Table {
	all := []kv.Table{t.Name}
	for _, x := range t.Indexes {
		all = append(all, t.indexTable(x.Name))
	}
	for _, y := range t.Tallies {
		all = append(all, t.tallyTable(y.Name))
	}
	return all
}

func (t *Table[T]) indexTable(name string) kv.Table { return t.Name + "/by " + kv.Table(name) }
func (t *Table[T]) tallyTable(name string) kv.Table { return t.Name + "/sum " + kv.Table(name) }

// Get gives the value under a primary key.
func (t *Table[T]) Get(r kv.Reader, key []byte) (*T, bool, error) {
	b, err := r.Get(t.Name, key)
	if err != nil || b == nil {
		return nil, false, err
	}
	v, err := t.decode(key, b)
	return v, err == nil, err
}

// Put stores a value under its key. What a value of the same key put into
// indexes and tallies before is taken back.
func (t *Table[T]) Put(tx kv.Tx, v *T) error {
	key := t.Key(v)
	old, err := tx.Get(t.Name, key)
	if err != nil {
		return err
	}
	b, err := encode(v)
	if err != nil {
		return fmt.Errorf("table %s: %w", t.Name, err)
	}
	if bytes.Equal(b, old) {
		return nil
	}
	// From the bytes, so that what is taken back later is what is added now.
	next, err := t.decode(key, b)
	if err != nil {
		return err
	}
	if err := t.move(tx, key, old, next); err != nil {
		return err
	}
	return tx.Put(t.Name, key, b)
}

// Delete removes the value under a primary key; an absent one is no error.
func (t *Table[T]) Delete(tx kv.Tx, key []byte) error {
	old, err := tx.Get(t.Name, key)
	if err != nil || old == nil {
		return err
	}
	if err := t.move(tx, key, old, nil); err != nil {
		return err
	}
	return tx.Delete(t.Name, key)
}

// move takes the old value's entries back and adds the next one's.
func (t *Table[T]) move(tx kv.Tx, key, oldBytes []byte, next *T) error {
	var old *T
	if oldBytes != nil {
		var err error
		if old, err = t.decode(key, oldBytes); err != nil {
			return err
		}
	}
	for _, x := range t.Indexes {
		if err := moveIndex(tx, t.indexTable(x.Name), key, keysOf(x, old), keysOf(x, next)); err != nil {
			return err
		}
	}
	for _, y := range t.Tallies {
		if err := moveTally(tx, t.tallyTable(y.Name), countsOf(y, old), countsOf(y, next)); err != nil {
			return err
		}
	}
	return nil
}

func keysOf[T any](x Index[T], v *T) map[string]bool {
	if v == nil {
		return nil
	}
	set := make(map[string]bool)
	for _, k := range x.Keys(v) {
		set[string(k)] = true
	}
	return set
}

func moveIndex(tx kv.Tx, table kv.Table, primary []byte, old, next map[string]bool) error {
	for k := range old {
		if !next[k] {
			if err := tx.Delete(table, kv.Join(kv.Str(k), primary)); err != nil {
				return err
			}
		}
	}
	for k := range next {
		if !old[k] {
			if err := tx.Put(table, kv.Join(kv.Str(k), primary), []byte{version}); err != nil {
				return err
			}
		}
	}
	return nil
}

// Scan gives values with from <= primary key < to, ascending or, with back,
// descending; a nil to means to the end.
func (t *Table[T]) Scan(r kv.Reader, from, to []byte, back bool) iter.Seq2[*T, error] {
	return func(yield func(*T, error) bool) {
		for e, err := range scan(r, t.Name, from, to, back) {
			var v *T
			if err == nil {
				v, err = t.decode(e.Key, e.Value)
			}
			if !yield(v, err) || err != nil {
				return
			}
		}
	}
}

// ScanIndex gives values with from <= index key < to in the order of the index
// key, then of the primary key; a nil to means to the end.
func (t *Table[T]) ScanIndex(r kv.Reader, name string, from, to []byte, back bool) iter.Seq2[*T, error] {
	return func(yield func(*T, error) bool) {
		for key, err := range t.ScanKeys(r, name, from, to, back) {
			var v *T
			var found bool
			if err == nil {
				v, found, err = t.Get(r, key)
			}
			if err == nil && !found {
				err = fmt.Errorf("table %s: index %s leads to key %x, which is absent", t.Name, name, key)
			}
			if !yield(v, err) || err != nil {
				return
			}
		}
	}
}

// ScanKeys is ScanIndex without reading the values: it gives primary keys,
// which are valid until the transaction ends.
func (t *Table[T]) ScanKeys(r kv.Reader, name string, from, to []byte, back bool) iter.Seq2[[]byte, error] {
	if !t.hasIndex(name) {
		panic(fmt.Sprintf("index: table %s has no index %q", t.Name, name))
	}
	lo := kv.Str(from)
	var hi []byte
	if to != nil {
		hi = kv.Str(to)
	}
	return func(yield func([]byte, error) bool) {
		for e, err := range scan(r, t.indexTable(name), lo, hi, back) {
			var key []byte
			if err == nil {
				key, err = primaryOf(e.Key)
			}
			if !yield(key, err) || err != nil {
				return
			}
		}
	}
}

func (t *Table[T]) hasIndex(name string) bool {
	for _, x := range t.Indexes {
		if x.Name == name {
			return true
		}
	}
	return false
}

// primaryOf skips the index key, which 0x00 0x01 ends.
func primaryOf(entry []byte) ([]byte, error) {
	for i := 0; i+1 < len(entry); i++ {
		if entry[i] != 0 {
			continue
		}
		if entry[i+1] == 1 {
			return entry[i+2:], nil
		}
		i++
	}
	return nil, fmt.Errorf("index key %x has no end", entry)
}

func scan(r kv.Reader, table kv.Table, from, to []byte, back bool) iter.Seq2[kv.Entry, error] {
	if back {
		return r.ScanBack(table, from, to)
	}
	return r.Scan(table, from, to)
}

// int64At reads a stored sum.
func int64At(b []byte) (int64, error) {
	if len(b) != 9 || b[0] != version {
		return 0, errors.New("a stored sum is damaged or of another version")
	}
	return int64(binary.BigEndian.Uint64(b[1:])), nil
}

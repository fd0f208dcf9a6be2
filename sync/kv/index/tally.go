package index

import (
	"encoding/binary"
	"fmt"
	"iter"

	"thudbook/sync/kv"
)

func countsOf[T any](y Tally[T], v *T) []Count {
	if v == nil {
		return nil
	}
	return y.Of(v)
}

// moveTally adds the difference between two values' counts. A sum that comes
// to zero is removed, so that the table holds nothing of values that left.
func moveTally(tx kv.Tx, table kv.Table, old, next []Count) error {
	diff := make(map[string]int64)
	for _, c := range old {
		diff[string(c.Key)] -= c.N
	}
	for _, c := range next {
		diff[string(c.Key)] += c.N
	}
	for k, d := range diff {
		if d == 0 {
			continue
		}
		key := sumKey([]byte(k))
		n, err := readSum(tx, table, key)
		if err != nil {
			return err
		}
		if n += d; n == 0 {
			err = tx.Delete(table, key)
		} else {
			err = tx.Put(table, key, binary.BigEndian.AppendUint64([]byte{version}, uint64(n)))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func readSum(r kv.Reader, table kv.Table, key []byte) (int64, error) {
	b, err := r.Get(table, key)
	if err != nil || b == nil {
		return 0, err
	}
	n, err := int64At(b)
	if err != nil {
		return 0, fmt.Errorf("table %s, key %x: %w", table, key, err)
	}
	return n, nil
}

// Count gives the sum under one key of a tally, zero if no value counts there.
func (t *Table[T]) Count(r kv.Reader, tally string, key []byte) (int64, error) {
	return readSum(r, t.mustTally(tally), sumKey(key))
}

// sumKey allows empty keys, which stores do not take.
func sumKey(key []byte) []byte { return append([]byte{version}, key...) }

// ScanTally gives the sums with from <= key < to; a nil to means to the end.
// Keys are valid until the transaction ends.
func (t *Table[T]) ScanTally(r kv.Reader, tally string, from, to []byte, back bool) iter.Seq2[Count, error] {
	table := t.mustTally(tally)
	from = sumKey(from)
	if to != nil {
		to = sumKey(to)
	}
	return func(yield func(Count, error) bool) {
		for e, err := range scan(r, table, from, to, back) {
			var c Count
			if err == nil {
				if c.N, err = int64At(e.Value); err != nil {
					err = fmt.Errorf("table %s, key %x: %w", table, e.Key, err)
				}
				c.Key = e.Key[1:]
			}
			if !yield(c, err) || err != nil {
				return
			}
		}
	}
}

// SumRange adds up the sums with from <= key < to.
func (t *Table[T]) SumRange(r kv.Reader, tally string, from, to []byte) (int64, error) {
	var sum int64
	for c, err := range t.ScanTally(r, tally, from, to, false) {
		if err != nil {
			return 0, err
		}
		sum += c.N
	}
	return sum, nil
}

func (t *Table[T]) mustTally(name string) kv.Table {
	for _, y := range t.Tallies {
		if y.Name == name {
			return t.tallyTable(name)
		}
	}
	panic(fmt.Sprintf("index: table %s has no tally %q", t.Name, name))
}

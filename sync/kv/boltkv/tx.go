package boltkv

import (
	"bytes"
	"errors"
	"fmt"
	"iter"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"thudbook/sync/kv"
)

// tx is one transaction; fn alone uses it, on one goroutine.
type tx struct {
	btx      *bolt.Tx
	store    *Store
	buckets  map[kv.Table]*bolt.Bucket
	scanning map[kv.Table]int
	done     bool
	err      error // of a write that failed inside bbolt: the transaction cannot commit
}

var _ kv.Tx = (*tx)(nil)

func newTx(btx *bolt.Tx, s *Store) *tx {
	return &tx{btx: btx, store: s, buckets: make(map[kv.Table]*bolt.Bucket), scanning: make(map[kv.Table]int)}
}

// bucket gives the table's bucket, nil if there is none yet.
func (t *tx) bucket(table kv.Table) *bolt.Bucket {
	if b := t.buckets[table]; b != nil {
		return b
	}
	b := t.btx.Bucket([]byte(table))
	if b != nil {
		t.keep(table, b)
	}
	return b
}

func (t *tx) keep(table kv.Table, b *bolt.Bucket) {
	if t.store.ordered[table] {
		b.FillPercent = 0.9
	}
	t.buckets[table] = b
}

// Get implements kv.Reader.
func (t *tx) Get(table kv.Table, key []byte) ([]byte, error) {
	if t.done {
		return nil, kv.ErrDone
	}
	b := t.bucket(table)
	if b == nil {
		return nil, nil
	}
	return b.Get(key), nil
}

// Scan implements kv.Reader.
func (t *tx) Scan(table kv.Table, from, to []byte) iter.Seq2[kv.Entry, error] {
	return t.scan(table, func(c *bolt.Cursor, yield func(kv.Entry, error) bool) {
		for k, v := c.Seek(from); k != nil && (to == nil || bytes.Compare(k, to) < 0); k, v = c.Next() {
			if !t.give(k, v, yield) {
				return
			}
		}
	})
}

// ScanBack implements kv.Reader.
func (t *tx) ScanBack(table kv.Table, from, to []byte) iter.Seq2[kv.Entry, error] {
	return t.scan(table, func(c *bolt.Cursor, yield func(kv.Entry, error) bool) {
		k, v := seekBefore(c, to)
		for ; k != nil && bytes.Compare(k, from) >= 0; k, v = c.Prev() {
			if !t.give(k, v, yield) {
				return
			}
		}
	})
}

// seekBefore finds the last entry below to; a nil to means the last of all.
func seekBefore(c *bolt.Cursor, to []byte) (k, v []byte) {
	if to == nil {
		return c.Last()
	}
	if k, _ = c.Seek(to); k == nil {
		return c.Last()
	}
	return c.Prev()
}

func (t *tx) scan(table kv.Table, walk func(*bolt.Cursor, func(kv.Entry, error) bool)) iter.Seq2[kv.Entry, error] {
	return func(yield func(kv.Entry, error) bool) {
		if t.done {
			yield(kv.Entry{}, kv.ErrDone)
			return
		}
		b := t.bucket(table)
		if b == nil {
			return
		}
		t.scanning[table]++
		defer func() { t.scanning[table]-- }()
		walk(b.Cursor(), yield)
	}
}

// give hands one entry over; a loop that outlived the transaction ends.
func (t *tx) give(k, v []byte, yield func(kv.Entry, error) bool) bool {
	if !yield(kv.Entry{Key: k, Value: v}, nil) {
		return false
	}
	if t.done {
		yield(kv.Entry{}, kv.ErrDone)
		return false
	}
	return true
}

// Put implements kv.Tx.
func (t *tx) Put(table kv.Table, key, value []byte) error {
	if len(value) == 0 {
		return fmt.Errorf("put into %s: %w", table, kv.ErrEmptyValue)
	}
	if len(key) == 0 {
		return fmt.Errorf("put into %s: %w", table, kv.ErrEmptyKey)
	}
	if err := t.mayWrite(table); err != nil {
		return err
	}
	b := t.bucket(table)
	if b == nil {
		var err error
		if b, err = t.btx.CreateBucket([]byte(table)); err != nil {
			return t.broken(fmt.Errorf("create table %s: %w", table, err))
		}
		t.keep(table, b)
	}
	// bbolt copies the key but keeps the value.
	if err := b.Put(key, bytes.Clone(value)); err != nil {
		return t.broken(fmt.Errorf("put into %s: %w", table, err))
	}
	return nil
}

// Delete implements kv.Tx.
func (t *tx) Delete(table kv.Table, key []byte) error {
	if err := t.mayWrite(table); err != nil {
		return err
	}
	b := t.bucket(table)
	if b == nil {
		return nil
	}
	if err := b.Delete(key); err != nil {
		return t.broken(fmt.Errorf("delete from %s: %w", table, err))
	}
	return nil
}

// Drop implements kv.Tx.
func (t *tx) Drop(table kv.Table) error {
	if err := t.mayWrite(table); err != nil {
		return err
	}
	delete(t.buckets, table)
	if err := t.btx.DeleteBucket([]byte(table)); err != nil && !errors.Is(err, berrors.ErrBucketNotFound) {
		return t.broken(fmt.Errorf("drop %s: %w", table, err))
	}
	return nil
}

func (t *tx) mayWrite(table kv.Table) error {
	switch {
	case t.done:
		return kv.ErrDone
	case t.scanning[table] > 0:
		return fmt.Errorf("write to %s: %w", table, kv.ErrScanning)
	case table == "" || table == formatTable:
		return fmt.Errorf("no table may be called %q", table)
	}
	return nil
}

// broken keeps the first error of bbolt, so that fn cannot commit by ignoring it.
func (t *tx) broken(err error) error {
	if t.err == nil {
		t.err = err
	}
	return err
}

package memkv

import (
	"bytes"
	"iter"
	"slices"
	"sort"

	"thudbook/sync/kv"
)

// table is sorted by key.
type table struct{ entries []kv.Entry }

func (t *table) find(key []byte) (int, bool) {
	if t == nil {
		return 0, false
	}
	i := sort.Search(len(t.entries), func(i int) bool { return bytes.Compare(t.entries[i].Key, key) >= 0 })
	return i, i < len(t.entries) && bytes.Equal(t.entries[i].Key, key)
}

type tx struct {
	tables map[kv.Table]*table
	own    map[kv.Table]bool // those that this transaction may change
	scans  map[kv.Table]int
	failed error // of a write, so that it cannot be passed over
	done   bool
}

func (t *tx) Get(name kv.Table, key []byte) ([]byte, error) {
	if t.done {
		return nil, kv.ErrDone
	}
	if i, ok := t.tables[name].find(key); ok {
		return t.tables[name].entries[i].Value, nil
	}
	return nil, nil
}

func (t *tx) Scan(name kv.Table, from, to []byte) iter.Seq2[kv.Entry, error] {
	return t.scan(name, from, to, false)
}

func (t *tx) ScanBack(name kv.Table, from, to []byte) iter.Seq2[kv.Entry, error] {
	return t.scan(name, from, to, true)
}

func (t *tx) scan(name kv.Table, from, to []byte, back bool) iter.Seq2[kv.Entry, error] {
	return func(yield func(kv.Entry, error) bool) {
		if t.done {
			yield(kv.Entry{}, kv.ErrDone)
			return
		}
		if t.scans != nil {
			t.scans[name]++
			defer func() { t.scans[name]-- }()
		}
		tab := t.tables[name]
		if tab == nil {
			return
		}
		lo, _ := tab.find(from)
		hi := len(tab.entries)
		if to != nil {
			hi, _ = tab.find(to)
		}
		if hi <= lo {
			return
		}
		for i := range tab.entries[lo:hi] {
			e := tab.entries[lo+i]
			if back {
				e = tab.entries[hi-1-i]
			}
			if !yield(e, nil) {
				return
			}
			if t.done {
				yield(kv.Entry{}, kv.ErrDone)
				return
			}
		}
	}
}

// fail keeps the first error of a write.
func (t *tx) fail(err error) error {
	if t.failed == nil {
		t.failed = err
	}
	return err
}

// change gives the transaction's own copy of a table.
func (t *tx) change(name kv.Table) (*table, error) {
	if t.done {
		return nil, kv.ErrDone
	}
	if t.scans[name] > 0 {
		return nil, kv.ErrScanning
	}
	if !t.own[name] {
		c := &table{}
		if old := t.tables[name]; old != nil {
			c.entries = slices.Clone(old.entries)
		}
		t.tables[name], t.own[name] = c, true
	}
	return t.tables[name], nil
}

func (t *tx) Put(name kv.Table, key, value []byte) error {
	switch {
	case t.done:
		return kv.ErrDone
	case len(value) == 0:
		return t.fail(kv.ErrEmptyValue)
	case len(key) == 0:
		return t.fail(kv.ErrEmptyKey)
	}
	tab, err := t.change(name)
	if err != nil {
		return err
	}
	e := kv.Entry{Key: bytes.Clone(key), Value: bytes.Clone(value)}
	if i, ok := tab.find(key); ok {
		tab.entries[i] = e
	} else {
		tab.entries = slices.Insert(tab.entries, i, e)
	}
	return nil
}

func (t *tx) Delete(name kv.Table, key []byte) error {
	tab, err := t.change(name)
	if err != nil {
		return err
	}
	if i, ok := tab.find(key); ok {
		tab.entries = slices.Delete(tab.entries, i, i+1)
	}
	return nil
}

func (t *tx) Drop(name kv.Table) error {
	if _, err := t.change(name); err != nil {
		return err
	}
	t.tables[name] = &table{}
	return nil
}

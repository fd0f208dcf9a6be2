package kvtest

import (
	"bytes"
	"context"
	"iter"

	"thudbook/sync/kv"
)

// Scrambled wraps a store so that a slice which outlives its transaction is
// noticed: it hands out copies and overwrites them when the transaction ends.
func Scrambled(s kv.Store) kv.Store { return scrambled{s} }

type scrambled struct{ kv.Store }

// Reopen passes on what the store below can do.
func (s scrambled) Reopen(ctx context.Context) error {
	if r, ok := s.Store.(kv.Reopener); ok {
		return r.Reopen(ctx)
	}
	return nil
}

// Stopped passes on what the store below says.
func (s scrambled) Stopped() error {
	if r, ok := s.Store.(kv.Reopener); ok {
		return r.Stopped()
	}
	return nil
}

func (s scrambled) View(ctx context.Context, fn func(kv.Reader) error) error {
	return s.Store.View(ctx, func(r kv.Reader) error {
		c := &copies{Reader: r}
		defer c.scramble()
		return fn(c)
	})
}

func (s scrambled) Update(ctx context.Context, fn func(kv.Tx) error) error {
	return s.Store.Update(ctx, func(tx kv.Tx) error {
		c := &copies{Reader: tx}
		defer c.scramble()
		return fn(copiesTx{copies: c, tx: tx})
	})
}

// copies hands out copies of what a reader gives.
type copies struct {
	kv.Reader
	out [][]byte
}

func (c *copies) copy(b []byte) []byte {
	b = bytes.Clone(b)
	c.out = append(c.out, b)
	return b
}

func (c *copies) scramble() {
	for _, b := range c.out {
		for i := range b {
			b[i] = 0xdb
		}
	}
}

func (c *copies) Get(t kv.Table, key []byte) ([]byte, error) {
	v, err := c.Reader.Get(t, key)
	return c.copy(v), err
}

func (c *copies) Scan(t kv.Table, from, to []byte) iter.Seq2[kv.Entry, error] {
	return c.each(c.Reader.Scan(t, from, to))
}

func (c *copies) ScanBack(t kv.Table, from, to []byte) iter.Seq2[kv.Entry, error] {
	return c.each(c.Reader.ScanBack(t, from, to))
}

func (c *copies) each(in iter.Seq2[kv.Entry, error]) iter.Seq2[kv.Entry, error] {
	return func(yield func(kv.Entry, error) bool) {
		for e, err := range in {
			if !yield(kv.Entry{Key: c.copy(e.Key), Value: c.copy(e.Value)}, err) {
				return
			}
		}
	}
}

// copiesTx is a writing transaction that reads through copies.
type copiesTx struct {
	*copies
	tx kv.Tx
}

func (c copiesTx) Put(t kv.Table, key, value []byte) error { return c.tx.Put(t, key, value) }
func (c copiesTx) Delete(t kv.Table, key []byte) error     { return c.tx.Delete(t, key) }
func (c copiesTx) Drop(t kv.Table) error                   { return c.tx.Drop(t) }

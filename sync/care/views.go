package care

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/kv/index"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// pageRecords is how many records one transaction of the rebuilt store takes.
const pageRecords = 2000

// tempPrefix marks the folders of rebuilt views.
const tempPrefix = "thudbook-verify-"

// rebuilt is a temporary store in which the views are made from nothing. A nil
// rebuilt does nothing.
type rebuilt struct {
	views ViewSet
	dir   string
	store kv.Store
	page  []record.Record
}

func newRebuilt(_ context.Context, s Source) (*rebuilt, error) {
	if s.Views == nil {
		return nil, nil
	}
	sweep(s.Temp)
	dir, err := os.MkdirTemp(s.Temp, tempPrefix)
	if err != nil {
		return nil, fmt.Errorf("folder for the rebuilt views: %w", err)
	}
	store, err := boltkv.Open(filepath.Join(dir, "views"), boltkv.Options{AnyFileSystem: true})
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return &rebuilt{views: s.Views, dir: dir, store: store}, nil
}

// sweep removes what a verification that was killed left behind.
func sweep(temp string) {
	if temp == "" {
		temp = os.TempDir()
	}
	old, err := filepath.Glob(filepath.Join(temp, tempPrefix+"*"))
	if err != nil {
		return
	}
	for _, dir := range old {
		if fi, err := os.Lstat(dir); err == nil && fi.IsDir() && time.Since(fi.ModTime()) > 24*time.Hour {
			_ = os.RemoveAll(dir) // it stays for the next time
		}
	}
}

func (b *rebuilt) drop() {
	if b == nil {
		return
	}
	_ = b.store.Close()     // it is thrown away
	_ = os.RemoveAll(b.dir) // left behind at worst: a temporary folder
}

func (b *rebuilt) add(ctx context.Context, r record.Record) error {
	if b == nil {
		return nil
	}
	if b.page = append(b.page, r); len(b.page) < pageRecords {
		return nil
	}
	return b.flush(ctx)
}

func (b *rebuilt) flush(ctx context.Context) error {
	err := b.store.Update(ctx, func(tx kv.Tx) error {
		for i := range b.page {
			if err := b.views.Apply(tx, &b.page[i]); err != nil {
				return fmt.Errorf("rebuild views, record %d of %s: %w", b.page[i].Seq, b.page[i].Origin(), err)
			}
		}
		return nil
	})
	b.page = b.page[:0]
	return err
}

// views compares the stored views with the rebuilt ones.
func (v *verifier) views(ctx context.Context, r kv.Reader, b *rebuilt) error {
	if b == nil {
		return nil
	}
	if err := b.flush(ctx); err != nil {
		return err
	}
	if err := ledger.ViewsReady(r); err != nil {
		v.report.find(Damaged, "views: %v; the next start finishes that", err)
		return nil
	}
	switch outdated, err := ledger.ViewsOutdated(r, b.views); {
	case err != nil:
		return err
	case outdated:
		v.report.Unchecked = append(v.report.Unchecked, "the views: an earlier version of this program made them, and the next start makes them anew from the records")
		return nil
	}
	tables := b.views.Tables()
	v.report.Tables = len(tables)
	return b.store.View(ctx, func(again kv.Reader) error {
		diffs, err := index.Compare(r, again, tables...)
		for _, d := range diffs {
			v.report.find(Damaged, "views: stored and rebuilt ones differ: %s", d)
		}
		return err
	})
}

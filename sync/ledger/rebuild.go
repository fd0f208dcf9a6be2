package ledger

import (
	"context"
	"errors"
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// What metaViews says: the version of the views, or that they are incomplete.
const (
	viewsReady    = "ready:"
	viewsBuilding = "building"
)

// Rebuild drops the views and makes them anew from the log, a page of records
// per transaction. Appends wait; whoever reads the views meanwhile sees them
// incomplete. Cut short, it is done again by the next Open. Damaged records are
// passed over and named in Notices.
func (l *Ledger) Rebuild(ctx context.Context, views ViewSet) error {
	l.gate.Lock()
	defer l.gate.Unlock()
	return l.rebuild(ctx, views)
}

func (l *Ledger) rebuild(ctx context.Context, views ViewSet) error {
	err := l.store.Update(ctx, func(tx kv.Tx) error {
		for _, t := range views.Tables() {
			if err := tx.Drop(t); err != nil {
				return err
			}
		}
		return tx.Put(metaTable, metaViews, []byte(viewsBuilding))
	})
	if err != nil {
		return l.noteFault(fmt.Errorf("drop views: %w", err))
	}
	page := make([]record.Record, 0, pageRecords)
	flush := func() error {
		if len(page) == 0 {
			return nil
		}
		err := l.store.Update(ctx, func(tx kv.Tx) error { return applyAll(tx, views, page) })
		page = page[:0]
		return l.noteFault(err)
	}
	for r, err := range l.All(ctx) {
		switch {
		case problem.Of(err) == problem.Damaged && err != nil:
			l.notice("The views were rebuilt without a damaged record: %v", err)
			continue
		case err != nil:
			return fmt.Errorf("rebuild views: %w", err)
		}
		if page = append(page, r); len(page) == pageRecords {
			if err := flush(); err != nil {
				return fmt.Errorf("rebuild views: %w", err)
			}
		}
	}
	if err := flush(); err != nil {
		return fmt.Errorf("rebuild views: %w", err)
	}
	return l.noteFault(l.store.Update(ctx, func(tx kv.Tx) error {
		return tx.Put(metaTable, metaViews, []byte(viewsReady+versionOf(views)))
	}))
}

func applyAll(tx kv.Tx, views Applier, page []record.Record) error {
	for i := range page {
		if err := views.Apply(tx, &page[i]); err != nil {
			return fmt.Errorf("record %d of %s, kind %s: %w", page[i].Seq, page[i].Origin(), page[i].Kind, err)
		}
	}
	return nil
}

func versionOf(v Applier) string {
	if v, ok := v.(Versioned); ok {
		return v.Version()
	}
	return ""
}

// mendViews rebuilds views that an earlier rebuild left incomplete, or that
// another version of the program made.
func (l *Ledger) mendViews(ctx context.Context) error {
	if l.opts.Views == nil {
		return nil
	}
	state, empty := "", false
	err := l.store.View(ctx, func(r kv.Reader) error {
		b, err := r.Get(metaTable, metaViews)
		state = string(b)
		if err != nil {
			return err
		}
		empty = true
		for _, err := range r.Scan(HeadTable, nil, nil) {
			empty = false
			return err
		}
		return nil
	})
	want := viewsReady + versionOf(l.opts.Views)
	if err != nil || state == want {
		return err
	}
	views, ok := l.opts.Views.(ViewSet)
	if !ok && state == viewsBuilding {
		return problem.New(problem.Unavailable, "the views are incomplete", "open the ledger with views that can be rebuilt")
	}
	if empty || !ok {
		return l.noteFault(l.store.Update(ctx, func(tx kv.Tx) error { return tx.Put(metaTable, metaViews, []byte(want)) }))
	}
	l.log.Info("rebuilding the views", "were", state, "want", want)
	return l.rebuild(ctx, views)
}

// errIncomplete is what ViewsReady gives while views are being rebuilt.
var errIncomplete = errors.New("the views are being rebuilt")

// ViewsReady is nil, or tells that the stored views are incomplete.
func ViewsReady(r kv.Reader) error {
	b, err := r.Get(metaTable, metaViews)
	if err == nil && string(b) == viewsBuilding {
		return errIncomplete
	}
	return err
}

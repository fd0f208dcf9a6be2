package ledger

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// What metaViews says: the version of the views; or that they are incomplete
// and have to be begun anew; or, with a version, that they are being rebuilt
// and rebuildTable says how far that is.
const (
	viewsReady    = "ready:"
	viewsBuilding = "building"
	viewsResume   = viewsBuilding + ":"
)

// rebuildTable: origin -> last record applied, last record to apply. What is
// appended after a rebuild began is applied at once, like always: the order of
// records does not matter to the views.
const rebuildTable kv.Table = "ledger.rebuild"

var metaTotal = []byte("views.total") // records that the present rebuild began with

// How many records one step applies: many while nothing else can be written,
// few in the background, since an append waits for a step to end.
const (
	pageAlone  = 2000
	pageBehind = 200
)

// Rebuild drops the views and makes them anew from the log, a page of records
// per transaction. Appends wait; whoever reads the views meanwhile sees them
// incomplete. Cut short, it goes on at the next Open. Damaged records are
// passed over and named in Notices.
func (l *Ledger) Rebuild(ctx context.Context, views ViewSet) error {
	l.gate.Lock()
	defer l.gate.Unlock()
	err := l.store.Update(ctx, func(tx kv.Tx) error { return tx.Put(metaTable, metaViews, []byte(viewsBuilding)) })
	if err != nil {
		return l.noteFault(fmt.Errorf("rebuild views: %w", err))
	}
	return l.rebuild(ctx, views, pageAlone)
}

// rebuild works on until the views are ready. What it does next follows from
// the store alone, so it may be cut anywhere and run twice at once.
func (l *Ledger) rebuild(ctx context.Context, views ViewSet, page int) error {
	for {
		var ready bool
		var at Rebuilding
		var bad []error
		err := l.store.Update(ctx, func(tx kv.Tx) (err error) {
			ready, at, bad = false, Rebuilding{}, nil
			state, err := tx.Get(metaTable, metaViews)
			switch {
			case err != nil:
				return err
			case string(state) == viewsReady+versionOf(views):
				ready = true
				return nil
			case string(state) != viewsResume+versionOf(views):
				at, err = beginRebuild(tx, views)
				return err
			}
			ready, at, bad, err = stepRebuild(tx, views, page)
			return err
		})
		if err != nil {
			return l.noteFault(fmt.Errorf("rebuild views: %w", err))
		}
		for _, b := range bad {
			l.notice("The views were rebuilt without a damaged record: %v", b)
		}
		at.Running = !ready
		l.building.Store(&at)
		if ready {
			return nil
		}
	}
}

// beginRebuild drops the views and notes what has to be applied.
func beginRebuild(tx kv.Tx, views ViewSet) (at Rebuilding, err error) {
	for _, t := range views.Tables() {
		if err := tx.Drop(t); err != nil {
			return at, err
		}
	}
	if err := tx.Drop(rebuildTable); err != nil {
		return at, err
	}
	origins, err := ScanOrigins(tx)
	if err != nil {
		return at, err
	}
	for _, o := range origins {
		last, err := lastSeq(tx, o)
		if err != nil {
			return at, err
		}
		if last == 0 {
			continue
		}
		if err := tx.Put(rebuildTable, originKey(o), kv.Join([]byte{valueVersion}, kv.U64(0), kv.U64(last))); err != nil {
			return at, err
		}
		at.Total += int64(last)
	}
	if err := tx.Put(metaTable, metaTotal, kv.Join([]byte{valueVersion}, kv.I64(at.Total))); err != nil {
		return at, err
	}
	return at, tx.Put(metaTable, metaViews, []byte(viewsResume+versionOf(views)))
}

// stepRebuild applies the next page of the first origin that is not done.
func stepRebuild(tx kv.Tx, views ViewSet, page int) (ready bool, at Rebuilding, bad []error, err error) {
	at, first, err := progressOf(tx)
	if err != nil {
		return false, at, nil, err
	}
	if first == nil {
		return true, at, nil, tx.Put(metaTable, metaViews, []byte(viewsReady+versionOf(views)))
	}
	end, n := first.done, 0
	for s, err := range Chain(tx, first.origin, first.done) {
		if err != nil {
			return false, at, bad, err
		}
		if s.Seq > first.last || n == page {
			break
		}
		n, end = n+1, max(end, s.Seq)
		if s.Damage != nil {
			bad = append(bad, s.Damage)
			continue
		}
		if err := applyAll(tx, views, []record.Record{s.Record}); err != nil {
			return false, at, bad, err
		}
	}
	if n < page {
		return false, at, bad, tx.Delete(rebuildTable, originKey(first.origin))
	}
	return false, at, bad, tx.Put(rebuildTable, originKey(first.origin), kv.Join([]byte{valueVersion}, kv.U64(end), kv.U64(first.last)))
}

// rebuildCursor is one entry of rebuildTable.
type rebuildCursor struct {
	origin     record.Origin
	done, last uint64
}

// progressOf sums up how far a rebuild is and gives the origin to go on with,
// nil when none is left.
func progressOf(r kv.Reader) (at Rebuilding, first *rebuildCursor, err error) {
	total, err := r.Get(metaTable, metaTotal)
	if err != nil {
		return at, nil, err
	}
	if len(total) == 9 {
		at.Total = int64(binary.BigEndian.Uint64(total[1:]) ^ 1<<63)
	}
	left := int64(0)
	for e, err := range r.Scan(rebuildTable, nil, nil) {
		if err != nil {
			return at, nil, err
		}
		o, err := originOf(e.Key)
		if err != nil || len(e.Value) != 17 || e.Value[0] != valueVersion {
			return at, nil, damaged(o, 0, "how far the rebuilding of the views is cannot be read", errors.Join(err, errValue))
		}
		c := rebuildCursor{o, binary.BigEndian.Uint64(e.Value[1:9]), binary.BigEndian.Uint64(e.Value[9:])}
		left += int64(c.last - c.done)
		if first == nil {
			first = &c
		}
	}
	at.Done = at.Total - left
	return at, first, nil
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
// another version of the program made: at once, or in the background when
// there are more records than Options.RebuildAtOnce.
func (l *Ledger) mendViews(ctx context.Context) error {
	if l.opts.Views == nil {
		return nil
	}
	state, records := "", int64(0)
	err := l.store.View(ctx, func(r kv.Reader) error {
		b, err := r.Get(metaTable, metaViews)
		if err != nil {
			return err
		}
		state = string(b)
		heads, err := ScanHeads(r)
		for _, h := range heads {
			records += int64(h.Seq)
		}
		if problem.Of(err) == problem.Damaged {
			records++
			return nil
		}
		return err
	})
	want := viewsReady + versionOf(l.opts.Views)
	if err != nil || state == want {
		return err
	}
	views, ok := l.opts.Views.(ViewSet)
	if !ok && strings.HasPrefix(state, viewsBuilding) {
		return problem.New(problem.Unavailable, "the views are incomplete", "open the ledger with views that can be rebuilt")
	}
	if records == 0 || !ok {
		return l.noteFault(l.store.Update(ctx, func(tx kv.Tx) error { return tx.Put(metaTable, metaViews, []byte(want)) }))
	}
	l.log.Info("rebuilding the views", "were", state, "want", want, "records", records)
	if l.opts.RebuildAtOnce > 0 && records > l.opts.RebuildAtOnce {
		l.rebuildBehind(views, records)
		return nil
	}
	return l.rebuild(ctx, views, pageAlone)
}

// rebuildBehind rebuilds in a goroutine that Close ends and waits for.
func (l *Ledger) rebuildBehind(views ViewSet, records int64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.stopRebuild != nil {
		l.rebuildAgain = true // the one that runs looks into the store once more
		return
	}
	ctx, cancel := context.WithCancel(context.Background())
	l.stopRebuild = cancel
	l.building.Store(&Rebuilding{Running: true, Total: records})
	l.rebuilds.Go(func() {
		defer cancel()
		var err error
		for again := true; again && err == nil; {
			err = l.rebuild(ctx, views, pageBehind)
			l.mu.Lock()
			again, l.rebuildAgain = l.rebuildAgain, false
			if !again || err != nil {
				l.stopRebuild = nil
			}
			l.mu.Unlock()
		}
		switch {
		case err == nil:
			l.log.Info("the views are rebuilt")
			return
		case !errors.Is(err, context.Canceled):
			l.notice("The lists could not be rebuilt: %v. No record is lost; start the program anew to try again.", err)
		}
		at := l.Rebuilding() // after the notice: who sees that nothing runs finds out why
		at.Running = false
		l.building.Store(&at)
	})
}

// endRebuild stops a rebuild in the background and waits for its end.
func (l *Ledger) endRebuild() {
	l.mu.Lock()
	if l.stopRebuild != nil {
		l.stopRebuild()
	}
	l.mu.Unlock()
	l.rebuilds.Wait()
}

// Rebuilding tells how far a rebuild of the views is.
type Rebuilding struct {
	Running     bool
	Done, Total int64 // records
}

// String says it in words.
func (b Rebuilding) String() string {
	percent := int64(0)
	if b.Total > 0 {
		percent = 100 * b.Done / b.Total
	}
	return fmt.Sprintf("Lists and counts are being rebuilt from the records: %d of %d are read (%d %%). They are incomplete until then; new records are kept meanwhile.", b.Done, b.Total, percent)
}

// Rebuilding tells whether the views are incomplete, and how far they are.
func (l *Ledger) Rebuilding() Rebuilding {
	if b := l.building.Load(); b != nil {
		return *b
	}
	return Rebuilding{}
}

// errIncomplete is what ViewsReady gives while views are being rebuilt.
var errIncomplete = errors.New("the views are being rebuilt")

// ViewsReady is nil, or tells that the stored views are incomplete.
func ViewsReady(r kv.Reader) error {
	b, err := r.Get(metaTable, metaViews)
	if err == nil && strings.HasPrefix(string(b), viewsBuilding) {
		return errIncomplete
	}
	return err
}

// ViewsOutdated tells whether the stored views were made by other rules than those
// of v; the next start of a ledger with v makes them anew.
func ViewsOutdated(r kv.Reader, v Applier) (bool, error) {
	b, err := r.Get(metaTable, metaViews)
	if err != nil || b == nil {
		return false, err
	}
	version, ready := strings.CutPrefix(string(b), viewsReady)
	return ready && version != versionOf(v), nil
}

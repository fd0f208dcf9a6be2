package ledger

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"time"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

var (
	metaNode  = []byte("node")
	metaViews = []byte("views")
)

// load reads heads, own origins and anchor, and closes every own origin whose
// continuity is in doubt.
func (l *Ledger) load(ctx context.Context) error {
	if err := l.claim(ctx); err != nil {
		return err
	}
	file, anchorErr := readAnchor(l.opts.Anchor)
	switch {
	case anchorErr == nil && file.node != l.opts.Node:
		return &problem.Error{Code: problem.Invalid, What: "the anchor file belongs to another node", Where: l.opts.Anchor,
			Fix: fmt.Sprintf("this node is %s, the file's is %s: give each node its own", l.opts.Node, file.node)}
	case anchorErr != nil && !errors.Is(anchorErr, errNoAnchor) && !errors.Is(anchorErr, errBadAnchor):
		return anchorErr
	}
	var own map[record.LabID]ownState
	var floor uint32
	var doubts []Doubt
	var clock hlc.Time
	err := l.store.View(ctx, func(r kv.Reader) (err error) {
		heads, headErr := ScanHeads(r)
		if headErr != nil && problem.Of(headErr) != problem.Damaged {
			return headErr
		}
		for _, h := range heads {
			clock = max(clock, h.Clock)
		}
		if own, err = scanOwn(r); err != nil {
			return err
		}
		if floor, err = readFloor(r); err != nil {
			return err
		}
		doubts, err = findDoubts(r, l.opts.Node, own, file, anchorErr)
		if err == nil {
			l.checkTails(r, heads, headErr)
		}
		return err
	})
	if err != nil {
		return err
	}
	for _, d := range doubts {
		st := ownState{Epoch: d.Origin.Epoch, Closed: d.Reason, Next: d.next}
		err := l.store.Update(ctx, func(tx kv.Tx) error { return writeOwn(tx, d.Origin.Lab, st) })
		if err != nil {
			return l.noteFault(fmt.Errorf("close origin %s: %w", d.Origin, err))
		}
		own[d.Origin.Lab] = st
	}
	l.mu.Lock()
	l.own, l.floor = own, floor
	l.mu.Unlock()
	for _, lab := range sortedLabs(own) {
		if st := own[lab]; st.Closed != "" {
			l.notice("%s", closedWords(record.Origin{Node: l.opts.Node, Lab: lab, Epoch: st.Epoch}, st.Closed, st.Next))
		}
	}
	l.clock = hlc.New(clock, l.opts.Now)
	return l.openAnchor(ctx, file, anchorErr)
}

// Measured takes in by how much this node's wall clock was found to be ahead of
// the clock that other nodes of its labs go by.
func (l *Ledger) Measured(ahead time.Duration) { l.clock.Measured(ahead) }

// claim ties the store to the node, so that two nodes never share one.
func (l *Ledger) claim(ctx context.Context) error {
	want := l.nodeValue()
	var have []byte
	err := l.store.View(ctx, func(r kv.Reader) error {
		b, err := r.Get(metaTable, metaNode)
		have = append([]byte(nil), b...)
		return err
	})
	if err != nil {
		return err
	}
	if len(have) == 0 {
		return l.store.Update(ctx, func(tx kv.Tx) error { return tx.Put(metaTable, metaNode, want) })
	}
	if string(have) != string(want) {
		return problem.New(problem.Invalid, "the store belongs to another node",
			"use the identity that this data folder was made with, or another folder")
	}
	return nil
}

// nodeValue names the node that the store belongs to.
func (l *Ledger) nodeValue() []byte { return kv.Join([]byte{valueVersion}, l.opts.Node[:]) }

// openAnchor opens the anchor file, or makes one that agrees with the store
// where it was missing or damaged; doubts were dealt with before.
func (l *Ledger) openAnchor(ctx context.Context, file anchorFile, anchorErr error) error {
	if anchorErr != nil {
		file = anchorFile{node: l.opts.Node, entries: make(map[record.LabID]anchorEntry)}
		heads, err := l.Heads(ctx)
		if err != nil && problem.Of(err) != problem.Damaged {
			return err
		}
		for _, lab := range sortedLabs(l.own) {
			st := l.own[lab]
			o := record.Origin{Node: l.opts.Node, Lab: lab, Epoch: st.Epoch}
			file.entries[lab] = anchorEntry{Epoch: st.Epoch, Head: heads[o]}
		}
		if err := createAnchor(l.opts.Anchor, file); err != nil {
			return &problem.Error{Code: problem.Unavailable, What: "the anchor file cannot be created", Where: l.opts.Anchor,
				Fix: "check that its folder is there, writable and not full", Err: err}
		}
		file.counter = 1
	}
	a, err := openAnchor(l.opts.Anchor, file)
	if err != nil {
		return err
	}
	l.anchor = a
	return l.catchUp(ctx)
}

// catchUp lets the anchor know of records that were committed just before a
// stop, and of chains that were closed. Both count from now on: a store that is
// set back behind them has to be noticed.
func (l *Ledger) catchUp(ctx context.Context) error {
	heads, err := l.Heads(ctx)
	if err != nil {
		return err
	}
	for _, lab := range sortedLabs(l.own) {
		st := l.own[lab]
		o := record.Origin{Node: l.opts.Node, Lab: lab, Epoch: st.Epoch}
		end := anchorEntry{Epoch: st.Epoch, Head: heads[o]}
		if st.Closed != "" {
			end = anchorEntry{Epoch: st.Next}
		}
		if err := l.anchor.raise(lab, end); err != nil {
			l.log.Warn("the anchor is older than the log and cannot be written now", "origin", o.String(), "error", err)
		}
	}
	return nil
}

// CloseOwn closes one of this node's own origins, and all earlier epochs of its
// lab, for ever: the exchange found that its continuity is in doubt. The next
// append opens the next epoch, which names the reason.
func (l *Ledger) CloseOwn(ctx context.Context, origin record.Origin, reason string) error {
	return l.closeOwn(ctx, origin, reason, origin.Epoch+1)
}

func (l *Ledger) closeOwn(ctx context.Context, origin record.Origin, reason string, next uint32) error {
	if origin.Node != l.opts.Node || reason == "" {
		return problem.New(problem.Invalid, "only an own origin can be closed, and with a reason", "name an origin of this node")
	}
	l.gate.RLock()
	defer l.gate.RUnlock()
	if err := l.Faulted(); err != nil {
		return err
	}
	var st ownState
	err := l.store.Update(ctx, func(tx kv.Tx) (err error) {
		if st, err = readOwn(tx, origin.Lab); err != nil {
			return err
		}
		if origin.Epoch < st.nextEpoch() {
			return nil // closed before
		}
		st = ownState{Epoch: origin.Epoch, Closed: reason, Next: next}
		return writeOwn(tx, origin.Lab, st)
	})
	if err != nil {
		return l.noteFault(err)
	}
	l.setOwn(origin.Lab, st)
	if st.Closed != "" {
		if err := l.anchor.raise(origin.Lab, anchorEntry{Epoch: st.Next}); err != nil {
			return l.noteFault(fmt.Errorf("write the anchor: %w: %w", kv.ErrUnknown, err))
		}
		l.notice("%s", closedWords(origin, st.Closed, st.Next))
	}
	return nil
}

// maxSkip bounds how many epochs CloseEveryOwn leaves out.
const maxSkip = 1 << 16

// CloseEveryOwn closes all origins of this node that are open: the store was
// set back, and what was lost may have reached others. The next epoch is far
// from the last one, so that it is none that was lost with the rest.
func (l *Ledger) CloseEveryOwn(ctx context.Context, reason string) error {
	l.mu.Lock()
	own := maps.Clone(l.own)
	l.mu.Unlock()
	for _, lab := range sortedLabs(own) {
		st := own[lab]
		if st.Epoch == 0 || st.Closed != "" {
			continue
		}
		o := record.Origin{Node: l.opts.Node, Lab: lab, Epoch: st.Epoch}
		if err := l.closeOwn(ctx, o, reason, st.Epoch+1+l.opts.Skip(maxSkip)); err != nil {
			return err
		}
	}
	return nil
}

func scanOwn(r kv.Reader) (map[record.LabID]ownState, error) {
	all := make(map[record.LabID]ownState)
	for e, err := range r.Scan(ownTable, nil, nil) {
		if err != nil {
			return nil, err
		}
		if len(e.Key) != 16 {
			return nil, fmt.Errorf("state of own origins, key %x: %w", e.Key, errValue)
		}
		st, err := decodeOwn(e.Value)
		if err != nil {
			return nil, &problem.Error{Code: problem.Damaged, What: "the state of an own origin cannot be read",
				Where: "lab " + record.LabID(e.Key).String(), Fix: "restore from a backup or from the server", Err: err}
		}
		all[record.LabID(e.Key)] = st
	}
	return all, nil
}

// tailRecords is how many records at the end of each chain Open reads.
const tailRecords = 64

// checkTails reads the end of every chain and turns damage into notices; the
// whole is for verify.
func (l *Ledger) checkTails(r kv.Reader, heads map[record.Origin]HeadEntry, headErr error) {
	if headErr != nil {
		l.notice("Damage: %v", headErr)
	}
	for _, o := range sortedOrigins(heads) {
		after := uint64(0)
		if n := heads[o].Seq; n > tailRecords {
			after = n - tailRecords
		}
		for s, err := range Chain(r, o, after) {
			if err == nil {
				err = s.Damage
			}
			if err != nil {
				l.notice("Damage: %v", err)
			}
		}
	}
}

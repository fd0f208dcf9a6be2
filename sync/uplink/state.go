package uplink

import (
	"context"
	"fmt"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/httppeer"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// ClockLimit is how far this computer's clock may be from the server's before
// the screen says so.
const ClockLimit = 30 * time.Second

// State is what screens and telemetry show.
type State struct {
	Enrolled     bool
	EnrolError   error  // why the last try to enrol failed, as long as there was no enrolment
	Server       string // its address
	ServerID     record.NodeID
	Lab          record.LabID
	Name         string
	Connected    bool // the last attempt reached the server
	Running      bool // a session is under way
	LastExchange time.Time

	PendingRecords     int64 // not acknowledged by the server
	PendingBytes       int64 // of these records, and of attachments that the server lacks
	PendingAttachments int64
	OldestPendingSince time.Time // this node's clock when the oldest of them was written
	Pending            Pending   // the same by kinds

	Stuck        string         // in words; empty: nothing is stuck
	Cause        httppeer.Cause // of Stuck, for programs
	StuckSince   time.Time      // by this node's clock
	NextTry      time.Time      // by this node's clock; zero: not planned
	Notices      []string
	Progress     exchange.Progress
	ClockOffset  time.Duration // this clock minus the server's
	ClockKnown   bool
	ClockWarning string // in words; empty: the clocks agree
}

// Share is a number of things and their bytes.
type Share struct{ Count, Bytes int64 }

// Pending is what the server does not have, by kinds, in the order in which
// they are sent.
type Pending struct {
	Records, Sources, Photos, Videos Share
	oldest                           time.Time
}

func (p *Pending) class(c exchange.Class) *Share {
	switch c {
	case exchange.Photos:
		return &p.Photos
	case exchange.Videos:
		return &p.Videos
	}
	return &p.Sources
}

func (p *Pending) bytes() int64 {
	return p.Records.Bytes + p.Sources.Bytes + p.Photos.Bytes + p.Videos.Bytes
}

func (p *Pending) attachments() int64 { return p.Sources.Count + p.Photos.Count + p.Videos.Count }

// State gives the present state. It reads the store.
func (u *Uplink) State(ctx context.Context) (State, error) {
	u.mu.Lock()
	st := u.st
	s := State{Connected: st.connected, Running: st.running, LastExchange: st.last, Progress: st.progress,
		ClockOffset: st.offset, ClockKnown: st.measured, Lab: u.LocalLab()}
	if u.settings != nil {
		s.Enrolled, s.Server, s.ServerID, s.Lab, s.Name = true, u.settings.URL, u.settings.Server, u.settings.Lab, u.settings.Name
		if !st.measured && u.settings.ExchangedMS != 0 {
			s.ClockOffset, s.ClockKnown = time.Duration(u.settings.ClockOffsetMS)*time.Millisecond, true
		}
	}
	u.mu.Unlock()
	s.NextTry = st.next
	if st.err != nil {
		s.Stuck, s.Cause, s.StuckSince = Words(st.err), httppeer.CauseOf(st.err), st.since
	}
	if st.failedStart != nil {
		s.EnrolError, s.Stuck, s.Cause, s.StuckSince = st.failedStart, Words(st.failedStart), httppeer.CauseOf(st.failedStart), st.since
	}
	for _, n := range st.notices {
		s.Notices = append(s.Notices, Words(n.Err))
	}
	if s.Stuck == "" && len(s.Notices) > 0 {
		s.Stuck, s.Cause = s.Notices[0], httppeer.CauseOf(st.notices[0].Err)
	}
	if st.dates != "" {
		s.Notices = append(s.Notices, st.dates)
	}
	if off := s.ClockOffset.Abs(); s.ClockKnown && off > ClockLimit {
		way := "ahead of"
		if s.ClockOffset < 0 {
			way = "behind"
		}
		s.ClockWarning = fmt.Sprintf("This computer's clock is %s %s the server's. Set the clock; shots are recorded all the same, with both times.", off.Round(time.Second), way)
	}
	p, err := u.pending(ctx)
	s.PendingRecords, s.PendingBytes, s.PendingAttachments, s.OldestPendingSince = p.Records.Count, p.bytes(), p.attachments(), p.oldest
	s.Pending = p
	return s, err
}

// meter remembers the sizes of records that are pending, so that every record
// is read once for it.
type meter struct {
	server record.NodeID
	spans  map[record.Origin]*span
	handed map[record.Hash]struct{} // that the server holds, beyond the receipts
}

// span holds the sizes of a run of records: items[0] is record first.
type span struct {
	first uint64
	items []item
}

type item struct {
	size     int64
	wallNS   int64
	attached []attached
}

type attached struct {
	hash  record.Hash
	size  int64
	class exchange.Class
}

// awaits tells whether the server's word on any attachment is still to come;
// until then what it was handed has to be remembered.
func (m *meter) awaits() bool {
	for _, sp := range m.spans {
		for i := range sp.items {
			if len(sp.items[i].attached) > 0 {
				return true
			}
		}
	}
	return false
}

// handed hears from a session what the server holds.
func (u *Uplink) handed(h record.Hash) {
	u.meterMu.Lock()
	defer u.meterMu.Unlock()
	if u.meter.handed == nil {
		u.meter.handed = map[record.Hash]struct{}{}
	}
	u.meter.handed[h] = struct{}{}
}

// pending derives what is pending: heads minus receipts.
func (u *Uplink) pending(ctx context.Context) (Pending, error) {
	heads, err := u.o.Ledger.Heads(ctx)
	if err != nil && problem.Of(err) != problem.Damaged {
		return Pending{}, fmt.Errorf("read the heads: %w", err)
	}
	var server record.NodeID
	if s, ok := u.Settings(); ok {
		server = s.Server
	}
	got := map[record.Origin]receipt.Receipt{}
	err = u.o.Store.View(ctx, func(r kv.Reader) error {
		all, err := receipt.All(r, server)
		for _, rc := range all {
			got[rc.Origin] = rc
		}
		return err
	})
	if err != nil {
		return Pending{}, fmt.Errorf("read the receipts: %w", err)
	}
	u.meterMu.Lock()
	defer u.meterMu.Unlock()
	switch {
	case u.meter.server != server:
		u.meter = meter{server: server, spans: map[record.Origin]*span{}}
	case u.meter.spans == nil: // what a session was told before stays
		u.meter.spans = map[record.Origin]*span{}
	}
	var sum Pending
	for o, h := range heads {
		if o.Node != u.o.Ledger.Node() || o.Lab == (record.LabID{}) {
			continue
		}
		if u.o.Only != nil {
			if about, err := u.o.Only(ctx, o.Lab); err != nil || !about {
				if err != nil {
					return sum, err
				}
				continue
			}
		}
		rc := got[o]
		if err := u.measure(ctx, o, h.Seq, rc.Seq, rc.CompleteThrough, &sum); err != nil {
			return sum, err
		}
	}
	if !u.meter.awaits() {
		clear(u.meter.handed)
	}
	return sum, nil
}

// measure adds one chain's pending part. Damage ends the count of bytes; the
// exchange tells of it.
func (u *Uplink) measure(ctx context.Context, o record.Origin, head, acked, complete uint64, sum *Pending) error {
	if head > acked {
		sum.Records.Count += int64(head - acked)
	}
	sp := u.meter.spans[o]
	if sp == nil || sp.first > complete+1 || sp.first+uint64(len(sp.items)) > head+1 {
		// A restored server went back, or the end of this chain was carried over
		// into the next one: what was measured is not what is there.
		clear(u.meter.handed)
		sp = &span{first: complete + 1}
		u.meter.spans[o] = sp
	}
	if n := complete + 1 - sp.first; n > 0 {
		sp.items = append([]item(nil), sp.items[min(n, uint64(len(sp.items))):]...)
		sp.first = complete + 1
	}
	for next := sp.first + uint64(len(sp.items)); next <= head; next = sp.first + uint64(len(sp.items)) {
		recs, err := u.o.Ledger.Read(ctx, o, next-1, 1<<20)
		if err != nil && problem.Of(err) != problem.Damaged {
			return fmt.Errorf("measure what is pending: %w", err)
		}
		if len(recs) == 0 {
			break
		}
		for i := range recs {
			it := item{size: int64(len(recs[i].Raw)), wallNS: recs[i].WallNS}
			for _, a := range recs[i].Attachments {
				it.attached = append(it.attached, attached{a.SHA256, a.Size, exchange.ClassOf(a)})
			}
			sp.items = append(sp.items, it)
		}
	}
	for i, it := range sp.items {
		waits := sp.first+uint64(i) > acked
		if waits {
			sum.Records.Bytes += it.size
		}
		for _, a := range it.attached {
			if _, there := u.meter.handed[a.hash]; there {
				continue
			}
			share := sum.class(a.class)
			share.Count++
			share.Bytes += a.size
			waits = true
		}
		if at := time.Unix(0, it.wallNS).UTC(); waits && (sum.oldest.IsZero() || at.Before(sum.oldest)) {
			sum.oldest = at
		}
	}
	return nil
}

package ledger

import (
	"thudbook/sync/hlc"
	"thudbook/sync/record"
)

// DataSync is the sync that the anchor uses, for a fair comparison.
var DataSync = dataSync

// Place is where an own origin stands, for the anchor.
type Place struct {
	Epoch uint32
	Seq   uint64
}

func (p Place) entry() anchorEntry {
	return anchorEntry{Epoch: p.Epoch, Head: record.Head{Seq: p.Seq}}
}

// After tells whether the anchor goes from b on to p.
func (p Place) After(b Place) bool { return p.entry().after(b.entry()) }

// Beyond gives the epoch after one, by a clock in epochs and a random jump.
func Beyond(clock, jump, epoch uint32) (uint32, error) {
	return step{clock: clock, jump: jump}.beyond(epoch)
}

// HeadValue is a head entry as it is stored.
func HeadValue(h record.Head, clock hlc.Time) []byte {
	return HeadEntry{Head: h, Clock: clock}.encode()
}

// HeadKey is where it is stored.
func HeadKey(o record.Origin) []byte { return originKey(o) }

// LogKey is where a record is stored, LogValue how.
func LogKey(o record.Origin, seq uint64) []byte { return logKey(o, seq) }
func LogValue(r *record.Record) []byte          { return logValue(r) }

// NewerOwn tells which of two states of a lab's own origin holds.
func NewerOwn(epoch, next uint32, closed string, thanEpoch, thanNext uint32, thanClosed string) bool {
	return ownState{Epoch: epoch, Next: next, Closed: closed}.newer(ownState{Epoch: thanEpoch, Next: thanNext, Closed: thanClosed})
}

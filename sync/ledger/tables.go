package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/record"
)

// The tables of the ledger. Every value begins with a version byte.
const (
	// LogTable: origin, seq -> hash, exact bytes. Its keys ascend per origin.
	LogTable kv.Table = "ledger.log"
	// HeadTable: origin -> seq, hash, greatest clock.
	HeadTable kv.Table = "ledger.head"
	ownTable  kv.Table = "ledger.own" // lab -> which epoch is open
	// ForkTable: origin, seq, hash -> exact bytes of a second history.
	ForkTable kv.Table = "ledger.fork"
	// StrandedTable: origin, seq, hash -> exact bytes of records of this node's
	// own closed origins that were carried over into a later epoch.
	StrandedTable kv.Table = "ledger.stranded"
	// carryTable: origin -> how far the carrying over of its records is.
	carryTable kv.Table = "ledger.carry"
	// SuspectTable: origin, seq -> our clock when a record that a wrong clock wrote came.
	SuspectTable kv.Table = "ledger.suspect"
	// QuarantineTable: origin, seq -> damaged value that was replaced by a good copy.
	QuarantineTable kv.Table = "ledger.quarantine"
	metaTable       kv.Table = "ledger.meta"
)

// OrderedTables are those that a store should pack for ascending keys.
func OrderedTables() []kv.Table { return []kv.Table{LogTable} }

const (
	valueVersion = 1
	originWidth  = 16 + 16 + 4
	hashWidth    = len(record.Hash{})
)

var errValue = errors.New("the value is damaged or of another version")

func originKey(o record.Origin) []byte {
	return kv.Join(o.Node[:], o.Lab[:], kv.U32(o.Epoch))
}

func originOf(key []byte) (record.Origin, error) {
	if len(key) < originWidth {
		return record.Origin{}, fmt.Errorf("key %x: %w", key, errValue)
	}
	return record.Origin{
		Node:  record.NodeID(key[:16]),
		Lab:   record.LabID(key[16:32]),
		Epoch: binary.BigEndian.Uint32(key[32:36]),
	}, nil
}

func logKey(o record.Origin, seq uint64) []byte {
	return kv.Join(originKey(o), kv.U64(seq))
}

// logValue keeps the hash beside the bytes: a changed record is then known by
// itself, not only by the next one's back reference.
func logValue(r *record.Record) []byte {
	return kv.Join([]byte{valueVersion}, r.Hash[:], r.Raw)
}

func cutLogValue(b []byte) (h record.Hash, raw []byte, err error) {
	if len(b) < 1+hashWidth || b[0] != valueVersion {
		return h, nil, errValue
	}
	return record.Hash(b[1 : 1+hashWidth]), b[1+hashWidth:], nil
}

// HeadEntry is what the store keeps of a chain's end: the head, and the
// greatest clock of its records that was not suspect.
type HeadEntry struct {
	record.Head
	Clock hlc.Time
}

func (h HeadEntry) encode() []byte {
	return kv.Join([]byte{valueVersion}, kv.U64(h.Seq), h.Hash[:], kv.U64(uint64(h.Clock)))
}

func decodeHead(b []byte) (HeadEntry, error) {
	if len(b) != 1+8+hashWidth+8 || b[0] != valueVersion {
		return HeadEntry{}, errValue
	}
	return HeadEntry{
		Head: record.Head{
			Seq:  binary.BigEndian.Uint64(b[1:9]),
			Hash: record.Hash(b[9 : 9+hashWidth]),
		},
		Clock: hlc.Time(binary.BigEndian.Uint64(b[9+hashWidth:])),
	}, nil
}

func readHead(r kv.Reader, o record.Origin) (HeadEntry, error) {
	b, err := r.Get(HeadTable, originKey(o))
	if err != nil || b == nil {
		return HeadEntry{}, err
	}
	h, err := decodeHead(b)
	if err != nil {
		return HeadEntry{}, damaged(o, 0, "its head entry cannot be read", err)
	}
	return h, nil
}

// ScanHeads gives every head entry. An entry that cannot be read makes an
// error with code damaged that names its origin, after the others are read.
func ScanHeads(r kv.Reader) (map[record.Origin]HeadEntry, error) {
	heads := make(map[record.Origin]HeadEntry)
	var bad error
	for e, err := range r.Scan(HeadTable, nil, nil) {
		if err != nil {
			return heads, err
		}
		o, err := originOf(e.Key)
		if err != nil {
			bad = errors.Join(bad, damaged(o, 0, "a head entry has a key that is no origin", err))
			continue
		}
		h, err := decodeHead(e.Value)
		if err != nil {
			bad = errors.Join(bad, damaged(o, 0, "its head entry cannot be read", err))
			continue
		}
		heads[o] = h
	}
	return heads, bad
}

// ownState tells which epoch of a lab's own origin is open.
type ownState struct {
	Epoch  uint32 `json:"epoch"`            // the last one that was opened here, 0 if none
	Closed string `json:"closed,omitempty"` // why it is closed, empty while it is open
	Next   uint32 `json:"next,omitempty"`   // the epoch to open next, once closed
	Mark   []byte `json:"mark,omitempty"`   // of a restore on purpose, see restoreMark
}

// nextEpoch is the epoch that the next append goes to.
func (s ownState) nextEpoch() uint32 {
	switch {
	case s.Closed != "":
		return s.Next
	case s.Epoch == 0:
		return max(1, s.Next) // after a restore, Next is the floor
	}
	return s.Epoch
}

func (s ownState) newer(than ownState) bool {
	if s.nextEpoch() != than.nextEpoch() {
		return s.nextEpoch() > than.nextEpoch()
	}
	return s.Epoch >= than.Epoch
}

func readOwn(r kv.Reader, lab record.LabID) (ownState, error) {
	b, err := r.Get(ownTable, lab[:])
	if err != nil {
		return ownState{}, err
	}
	if b == nil {
		floor, err := readFloor(r)
		return ownState{Next: floor}, err
	}
	return decodeOwn(b)
}

func decodeOwn(b []byte) (st ownState, err error) {
	if len(b) == 0 || b[0] != valueVersion {
		return st, errValue
	}
	err = record.DecodeBody(b[1:], &st)
	return st, err
}

func writeOwn(tx kv.Tx, lab record.LabID, st ownState) error {
	b, err := record.EncodeBody(st)
	if err != nil {
		return err
	}
	return tx.Put(ownTable, lab[:], append([]byte{valueVersion}, b...))
}

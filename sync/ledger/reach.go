package ledger

import (
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/record"
)

// Reach collects which records can be reached in a store that is too damaged to
// be opened, entry by entry as they are found.
type Reach struct {
	good map[record.Origin]map[uint64]bool
	ends map[record.Origin]uint64
}

// NewReach begins with the ends that an anchor file knows.
func NewReach(anchor string, node record.NodeID) *Reach {
	r := &Reach{good: make(map[record.Origin]map[uint64]bool), ends: make(map[record.Origin]uint64)}
	for o, h := range AnchorEnds(anchor, node) {
		r.ends[o] = h.Seq
	}
	return r
}

// Take looks at one entry.
func (r *Reach) Take(t kv.Table, key, value []byte) {
	switch t {
	case HeadTable:
		o, err := originOf(key)
		if h, e := decodeHead(value); err == nil && e == nil {
			r.ends[o] = max(r.ends[o], h.Seq)
		}
	case LogTable:
		o, seq, err := cutLogKey(key)
		if err != nil {
			return
		}
		h, raw, err := cutLogValue(value)
		if err != nil || record.HashOf(raw) != h {
			return
		}
		if rec, err := record.Parse(raw); err != nil || rec.Origin() != o || rec.Seq != seq {
			return
		}
		if r.good[o] == nil {
			r.good[o] = make(map[uint64]bool)
		}
		r.good[o][seq] = true
		r.ends[o] = max(r.ends[o], seq)
	}
}

// Lost gives, in words, the records that were not reached, and how many were.
func (r *Reach) Lost() (texts []string, reached int) {
	for _, o := range sortedOrigins(r.ends) {
		reached += len(r.good[o])
		for seq := uint64(1); seq <= r.ends[o]; seq++ {
			if r.good[o][seq] {
				continue
			}
			from := seq
			for seq < r.ends[o] && !r.good[o][seq+1] {
				seq++
			}
			texts = append(texts, fmt.Sprintf("records %d to %d of origin %s cannot be read", from, seq, o))
		}
	}
	return texts, reached
}

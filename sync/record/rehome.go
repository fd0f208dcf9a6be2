package record

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
)

// KindRehomed is the kind of a record that carries another one, which stands in
// a second history of an earlier epoch and so can never reach other nodes in
// its own place.
const KindRehomed Kind = "node.rehomed"

// Rehomed is the body of KindRehomed. Node and lab of the carried record are
// those of the carrier, and so are author, subject and attachments.
type Rehomed struct {
	Epoch uint32 `json:"epoch"` // of the closed origin, lower than the carrier's
	Seq   uint64 `json:"seq"`   // the place that the carried record has there
	Hash  Hash   `json:"hash"`  // of the carried record
	// After is the last sequence number that both histories share, Branch the
	// hash of the first record that only the carried history has.
	After  uint64 `json:"after"`
	Branch Hash   `json:"branch"`
	// A record that does not fit into one carrier comes in parts, 0 to Parts-1,
	// one behind the other.
	Part  uint   `json:"part"`
	Parts uint   `json:"parts"`
	Raw   []byte `json:"raw"` // exact bytes, or this part of them
}

// maxParts is more than the largest record needs.
const maxParts = 16

// BranchMark shortens Branch for keys; 0 is the history that the origin has.
func (h *Rehomed) BranchMark() uint64 { return max(binary.BigEndian.Uint64(h.Branch[:8]), 1) }

// Carrier is what goes into one carrying record.
type Carrier struct {
	Body        Rehomed
	Attachments []Attachment
}

// carried bytes and attachments of one carrier, at most; the rest of MaxBytes
// is room for envelope and body.
const (
	carriedBytes       = 14 << 10
	carriedAttachments = 14 << 10
)

// Carry gives the carriers of a record: one, or parts when it is large. What
// r carries itself, when it is a carrier, is carried on as it is.
func Carry(r *Record, after uint64, branch Hash) ([]Carrier, error) {
	if r.Kind == KindRehomed {
		var h Rehomed
		if err := DecodeBody(r.Body, &h); err != nil {
			return nil, err
		}
		return []Carrier{{Body: h, Attachments: r.Attachments}}, nil
	}
	var all []Carrier
	raw, left := r.Raw, r.Attachments
	for len(raw) > 0 || len(left) > 0 {
		n := min(len(raw), carriedBytes)
		k, size := 0, 0
		for k < len(left) {
			b, err := encMode.Marshal(left[k])
			if err != nil {
				return nil, fmt.Errorf("carry record %d of %s: %w", r.Seq, r.Origin(), err)
			}
			if size += len(b); size > carriedAttachments && k > 0 {
				break
			}
			k++
		}
		all = append(all, Carrier{Attachments: left[:k],
			Body: Rehomed{Epoch: r.Epoch, Seq: r.Seq, Hash: r.Hash, After: after, Branch: branch, Raw: bytes.Clone(raw[:n])}})
		raw, left = raw[n:], left[k:]
	}
	for i := range all {
		all[i].Body.Part, all[i].Body.Parts = uint(i), uint(len(all))
	}
	return all, nil
}

var errCarried = errors.New("the carried bytes are not the record that the carrier names")

// Check tells whether the body of a carrier can be right.
func (h *Rehomed) Check(carrier *Record) error {
	switch {
	case h.Epoch == 0 || h.Epoch >= carrier.Epoch:
		return invalid("a record carries one of a later epoch", nil)
	case h.Seq <= h.After || h.Hash.IsZero() || h.Branch.IsZero():
		return invalid("a carried record has no place in a history", nil)
	case h.Parts == 0 || h.Parts > maxParts || h.Part >= h.Parts:
		return invalid("a carried record has no sensible number of parts", nil)
	}
	return nil
}

// Open gives the carried record from its bytes, all parts joined: checked
// against the hash, and against node, lab and place.
func (h *Rehomed) Open(carrier *Record, raw []byte) (Record, error) {
	if HashOf(raw) != h.Hash {
		return Record{}, invalid("a record is not carried as it was written", errCarried)
	}
	r, err := Parse(raw)
	if err != nil {
		return Record{}, err
	}
	if r.Node != carrier.Node || r.Lab != carrier.Lab || r.Epoch != h.Epoch || r.Seq != h.Seq || r.Kind == KindRehomed || r.Kind == KindGenesis {
		return Record{}, invalid("a record is carried under another name than its own", errCarried)
	}
	r.Branch = h.BranchMark()
	return r, nil
}

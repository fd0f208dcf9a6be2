package ledger

import (
	"bytes"
	"errors"
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// ScanOrigins gives, in order, every origin that has a head or a log entry.
func ScanOrigins(r kv.Reader) ([]record.Origin, error) {
	all := make(map[record.Origin]bool)
	for e, err := range r.Scan(HeadTable, nil, nil) {
		if err != nil {
			return nil, err
		}
		o, err := originOf(e.Key)
		if err != nil {
			return nil, damaged(o, 0, "a head entry has a key that is no origin", err)
		}
		all[o] = true
	}
	for from := []byte(nil); ; {
		o, ok, err := firstOrigin(r, from)
		if err != nil {
			return nil, err
		}
		if !ok {
			return sortedOrigins(all), nil
		}
		if bytes.Compare(originKey(o), from) < 0 { // a look from here would find the same again, for ever
			return nil, damaged(o, 0, "the keys of the log are out of order", nil)
		}
		all[o] = true
		if from = kv.PrefixEnd(originKey(o)); from == nil {
			return sortedOrigins(all), nil
		}
	}
}

func firstOrigin(r kv.Reader, from []byte) (record.Origin, bool, error) {
	for e, err := range r.Scan(LogTable, from, nil) {
		if err != nil {
			return record.Origin{}, false, err
		}
		o, err := originOf(e.Key)
		if err != nil {
			return o, false, damaged(o, 0, "a key of the log is no origin", err)
		}
		return o, true, nil
	}
	return record.Origin{}, false, nil
}

// CheckAnchor compares the open own origins with the anchor file, without
// changing anything, and gives those in doubt and the number compared. An own
// origin that is closed, but not yet continued, is among them too.
func CheckAnchor(r kv.Reader, node record.NodeID, path string) ([]Doubt, int, error) {
	b, err := r.Get(metaTable, metaNode)
	if err != nil {
		return nil, 0, err
	}
	if b != nil && string(b) != string(kv.Join([]byte{valueVersion}, node[:])) {
		return nil, 0, problem.New(problem.Invalid, "the store belongs to another node", "name the data folder's own identity")
	}
	own, err := scanOwn(r)
	if err != nil {
		return nil, 0, err
	}
	file, anchorErr := readAnchor(path)
	switch {
	case anchorErr == nil && file.node != node:
		return nil, 0, problem.New(problem.Invalid, "the anchor file belongs to another node", fmt.Sprintf("this node is %s, the file's is %s", node, file.node))
	case anchorErr != nil && !errors.Is(anchorErr, errNoAnchor) && !errors.Is(anchorErr, errBadAnchor):
		return nil, 0, anchorErr
	}
	doubts, err := findDoubts(r, node, own, file, anchorErr)
	if err != nil {
		return doubts, len(own), err
	}
	for _, lab := range sortedLabs(own) {
		st := own[lab]
		if st.Closed == "" {
			continue
		}
		d := Doubt{Origin: record.Origin{Node: node, Lab: lab, Epoch: st.Epoch}, Reason: st.Closed, Closed: true, next: st.Next}
		if d.OnPurpose, err = onPurpose(r, d.Origin, st); err != nil {
			return doubts, len(own), err
		}
		doubts = append(doubts, d)
	}
	return doubts, len(own), nil
}

// CheckRecord reads one record by its place alone, not by way of the ones before
// it: nil, or a problem with code damaged.
func CheckRecord(r kv.Reader, o record.Origin, seq uint64) error {
	b, err := r.Get(LogTable, logKey(o, seq))
	if err != nil {
		return err
	}
	if b == nil {
		return damaged(o, seq, missing(seq, seq), nil)
	}
	w := walk{origin: o, last: record.Head{Seq: seq - 1}}
	for _, s := range w.step(kv.Entry{Key: logKey(o, seq), Value: b}) {
		if s.Damage != nil {
			return s.Damage
		}
	}
	return nil
}

// AnchorEnds gives the ends of a node's own origins that an anchor file knows;
// nothing when it cannot be read.
func AnchorEnds(path string, node record.NodeID) map[record.Origin]record.Head {
	ends := make(map[record.Origin]record.Head)
	file, err := readAnchor(path)
	if err != nil || file.node != node {
		return ends
	}
	for lab, e := range file.entries {
		ends[record.Origin{Node: node, Lab: lab, Epoch: e.Epoch}] = e.Head
	}
	return ends
}

// Findable tells whether a record that a walk met is also found by its key: a
// damaged index page can hide from the one what the other sees.
func Findable(r kv.Reader, rec *record.Record) (bool, error) {
	b, err := r.Get(LogTable, logKey(rec.Origin(), rec.Seq))
	if err != nil {
		return false, err
	}
	_, raw, err := cutLogValue(b)
	return err == nil && bytes.Equal(raw, rec.Raw), nil
}

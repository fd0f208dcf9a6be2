package ledger

import (
	"fmt"
	"maps"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Doubt is an own origin whose stored end does not agree with the anchor.
type Doubt struct {
	Origin record.Origin
	Reason string
	Closed bool // the node knows: it will not write there again
	// OnPurpose: closed by a restore that a person asked for, not because the
	// store was found set back.
	OnPurpose bool
	next      uint32
}

// findDoubts compares own origins with what the anchor knows: open ones, and
// closed ones whose next epoch may be there already.
func findDoubts(r kv.Reader, node record.NodeID, own map[record.LabID]ownState, file anchorFile, anchorErr error) ([]Doubt, error) {
	labs := maps.Clone(own)
	for lab := range file.entries {
		labs[lab] = own[lab]
	}
	var all []Doubt
	for _, lab := range sortedLabs(labs) {
		st, at := labs[lab], file.entries[lab]
		if st.Closed != "" {
			if at.Epoch > st.Next || at.Epoch == st.Next && at.Seq > 0 { // the next one was opened, and is not here
				all = append(all, Doubt{Origin: record.Origin{Node: node, Lab: lab, Epoch: st.Epoch}, next: at.Epoch + 1,
					Reason: fmt.Sprintf("the store was set back: it knows nothing of epoch %d, which the anchor knows up to record %d", at.Epoch, at.Seq)})
			}
			continue
		}
		o := record.Origin{Node: node, Lab: lab, Epoch: st.Epoch}
		reason, err := doubt(r, o, at, anchorErr)
		if err != nil {
			return nil, err
		}
		if reason == "" {
			continue
		}
		if o.Epoch == 0 { // nothing of this lab is left: the origin to name is the anchor's
			o.Epoch = at.Epoch
		}
		all = append(all, Doubt{Origin: o, Reason: reason, next: max(o.Epoch, at.Epoch) + 1})
	}
	return all, nil
}

// doubt tells why an open own origin may not go on, empty if it may.
func doubt(r kv.Reader, o record.Origin, at anchorEntry, anchorErr error) (string, error) {
	head, headErr := readHead(r, o)
	if headErr != nil && problem.Of(headErr) != problem.Damaged {
		return "", headErr
	}
	last, err := lastSeq(r, o)
	if err != nil {
		return "", err
	}
	switch {
	case anchorErr != nil:
		return anchorErr.Error() + ", so nothing proves that the store was not set back", nil
	case headErr != nil:
		return "its head entry is damaged", nil
	case at.Epoch > o.Epoch:
		return fmt.Sprintf("the store was set back: it knows nothing of epoch %d, which the anchor knows up to record %d", at.Epoch, at.Seq), nil
	case last != head.Seq:
		return fmt.Sprintf("its head names record %d, but the log ends with record %d", head.Seq, last), nil
	case at.Epoch < o.Epoch || at.Seq == 0:
		return "", nil // the anchor is older: the stop came between commit and anchor
	case head.Seq < at.Seq:
		return fmt.Sprintf("the store was set back: it ends with record %d, the anchor knows record %d", head.Seq, at.Seq), nil
	}
	b, err := r.Get(LogTable, logKey(o, at.Seq))
	if err != nil {
		return "", err
	}
	if h, _, err := cutLogValue(b); err != nil || h != at.Hash {
		return fmt.Sprintf("record %d is not the one that the anchor knows", at.Seq), nil
	}
	return "", nil
}

func lastSeq(r kv.Reader, o record.Origin) (uint64, error) {
	from := originKey(o)
	for e, err := range r.ScanBack(LogTable, from, kv.PrefixEnd(from)) {
		if err != nil {
			return 0, err
		}
		_, seq, err := cutLogKey(e.Key)
		return seq, err
	}
	return 0, nil
}

package receipt

import (
	"fmt"
	"iter"

	"thudbook/sync/kv"
	"thudbook/sync/record"
)

// TableReceipts keeps the newest receipt of each server for each chain, under
// server, node, lab, epoch. What is pending is never stored: it is the head of
// a chain minus its receipt.
const TableReceipts kv.Table = "sync/receipts"

const storedVersion = 1

func storeKey(server record.NodeID, o record.Origin) []byte {
	return appendOrigin(append(make([]byte, 0, 52), server[:]...), o)
}

// Store keeps a verified receipt. An older statement of the same incarnation
// (an answer that arrives late) does not replace a newer one; after a restore
// of the server the newest statement holds, even when it covers less.
func Store(tx kv.Tx, r *Receipt) error {
	old, ok, err := Load(tx, r.Server, r.Origin)
	if err != nil {
		return err
	}
	if ok && old.Incarnation == r.Incarnation &&
		(old.Seq > r.Seq || old.Seq == r.Seq && old.CompleteThrough > r.CompleteThrough) {
		return nil
	}
	b, err := r.MarshalBinary()
	if err != nil {
		return err
	}
	return tx.Put(TableReceipts, storeKey(r.Server, r.Origin), append([]byte{storedVersion}, b...))
}

// Load gives the newest receipt of a server for a chain.
func Load(r kv.Reader, server record.NodeID, o record.Origin) (Receipt, bool, error) {
	v, err := r.Get(TableReceipts, storeKey(server, o))
	if err != nil || v == nil {
		return Receipt{}, false, err
	}
	rc, err := decode(v)
	return rc, err == nil, err
}

// All gives every receipt of a server.
func All(r kv.Reader, server record.NodeID) ([]Receipt, error) {
	var out []Receipt
	for e, err := range r.Scan(TableReceipts, server[:], kv.PrefixEnd(server[:])) {
		if err != nil {
			return nil, err
		}
		rc, err := decode(e.Value)
		if err != nil {
			return nil, err
		}
		out = append(out, rc)
	}
	return out, nil
}

// Every gives every receipt of every server.
func Every(r kv.Reader) iter.Seq2[Receipt, error] {
	return func(yield func(Receipt, error) bool) {
		for e, err := range r.Scan(TableReceipts, nil, nil) {
			var rc Receipt
			if err == nil {
				rc, err = decode(e.Value)
			}
			if !yield(rc, err) {
				return
			}
		}
	}
}

func decode(v []byte) (Receipt, error) {
	var r Receipt
	if len(v) == 0 || v[0] != storedVersion {
		return r, fmt.Errorf("a stored receipt has a layout that this program does not know (it knows %d)", storedVersion)
	}
	return r, r.UnmarshalBinary(v[1:])
}

package ledger

import (
	"thudbook/sync/kv"
	"thudbook/sync/record"
)

// cutBack moves records from the end of a chain to the stranded ones, at most
// a page, down to after; the chain is whole at every step. The views still
// hold what these records said, so they are marked as incomplete.
func cutBack(tx kv.Tx, o record.Origin, after uint64) (done bool, err error) {
	head, err := readHead(tx, o)
	if err != nil {
		return false, err
	}
	to := after
	if head.Seq > after+pageRecords {
		to = head.Seq - pageRecords
	}
	for seq := head.Seq; seq > to; seq-- {
		b, err := tx.Get(LogTable, logKey(o, seq))
		if err != nil {
			return false, err
		}
		h, raw, err := cutLogValue(b)
		table, key := StrandedTable, kv.Join(logKey(o, seq), h[:])
		if err != nil || record.HashOf(raw) != h {
			table, key, raw = QuarantineTable, logKey(o, seq), b
		} else {
			raw = kv.Join([]byte{valueVersion}, raw)
		}
		if len(raw) > 0 {
			if err := tx.Put(table, key, raw); err != nil {
				return false, err
			}
		}
		if err := tx.Delete(LogTable, logKey(o, seq)); err != nil {
			return false, err
		}
	}
	if err := setHead(tx, o, to, head); err != nil {
		return false, err
	}
	if err := tx.Put(metaTable, metaViews, []byte(viewsBuilding)); err != nil {
		return false, err
	}
	if to > after {
		return false, nil
	}
	return true, tx.Delete(carryTable, originKey(o))
}

// setHead makes record seq the end of a chain.
func setHead(tx kv.Tx, o record.Origin, seq uint64, head HeadEntry) error {
	if seq == 0 {
		return tx.Delete(HeadTable, originKey(o))
	}
	b, err := tx.Get(LogTable, logKey(o, seq))
	if err != nil {
		return err
	}
	h, _, err := cutLogValue(b)
	if err != nil {
		return damaged(o, seq, "the stored record cannot be read", err)
	}
	head.Head = record.Head{Seq: seq, Hash: h}
	return tx.Put(HeadTable, originKey(o), head.encode())
}

func readCarry(r kv.Reader, o record.Origin) (c carryState, ok bool, err error) {
	b, err := r.Get(carryTable, originKey(o))
	if err != nil || b == nil {
		return c, false, err
	}
	if b[0] != valueVersion {
		return c, false, damaged(o, 0, "how far its records were carried over cannot be read", errValue)
	}
	err = record.DecodeBody(b[1:], &c)
	return c, err == nil, err
}

func writeCarry(tx kv.Tx, o record.Origin, c carryState) error {
	b, err := record.EncodeBody(c)
	if err != nil {
		return err
	}
	return tx.Put(carryTable, originKey(o), append([]byte{valueVersion}, b...))
}

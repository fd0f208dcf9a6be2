package ledger

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"math"
	"time"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// metaFloor: the first epoch of a lab for which the store holds no own origin.
var metaFloor = []byte("epoch floor")

// restoreJump bounds by how many epochs a restore goes on when the clock is no
// guide.
const restoreJump = 1 << 20

// MarkRestored closes every own origin in a store that was put back from a
// backup, so that none of them is written again, and gives their ends. What the
// node wrote after the backup is not in the store, so the next record for a lab
// opens an epoch far beyond those that may have been opened meanwhile, by this
// machine or by another restore of the same backup: the number of seconds since
// 2020, or, with a clock that stands before the epoch there is, a random step.
// It is called before a ledger is opened on the store.
func MarkRestored(ctx context.Context, s kv.Store, node record.NodeID, now time.Time, reason string) ([]record.Ref, error) {
	step, err := newStep(now)
	if err != nil {
		return nil, err
	}
	var ends []record.Ref
	err = s.Update(ctx, func(tx kv.Tx) error {
		ends = nil
		own, err := scanOwn(tx)
		if err != nil {
			return err
		}
		floor, err := readFloor(tx)
		if err != nil {
			return err
		}
		next := floor
		for _, lab := range sortedLabs(own) {
			st := own[lab]
			o := record.Origin{Node: node, Lab: lab, Epoch: st.Epoch}
			head, err := readHead(tx, o)
			if err != nil && problem.Of(err) != problem.Damaged {
				return err
			}
			if st.Next, err = step.beyond(st.nextEpoch()); err != nil {
				return err
			}
			st.Closed = reason
			st.Mark = restoreMark(o, st, head.Head)
			if err := writeOwn(tx, lab, st); err != nil {
				return err
			}
			next = max(next, st.Next)
			ends = append(ends, record.Ref{Origin: o, Seq: head.Seq})
		}
		if next == floor {
			if next, err = step.beyond(max(1, floor)); err != nil {
				return err
			}
		}
		return tx.Put(metaTable, metaFloor, kv.Join([]byte{valueVersion}, kv.U32(next)))
	})
	return ends, err
}

// restoreMark is what a restore on purpose leaves with a chain that it closed: a
// hash over the chain, its end, the reason and the epoch to open next. It tells
// such a store from one that somebody set back, and covers this end alone.
func restoreMark(o record.Origin, st ownState, head record.Head) []byte {
	sum := sha256.Sum256(kv.Join([]byte("thudbook restore 1"), originKey(o), kv.U64(head.Seq), head.Hash[:], kv.U32(st.Next), kv.Str(st.Closed)))
	return sum[:]
}

// onPurpose tells whether a closed chain carries the mark of a restore.
func onPurpose(r kv.Reader, o record.Origin, st ownState) (bool, error) {
	if len(st.Mark) == 0 {
		return false, nil
	}
	head, err := readHead(r, o)
	if err != nil && problem.Of(err) != problem.Damaged {
		return false, err
	}
	return bytes.Equal(st.Mark, restoreMark(o, st, head.Head)), nil
}

// step gives an epoch that nobody has opened.
type step struct{ clock, jump uint32 }

func newStep(now time.Time) (step, error) {
	var b [4]byte
	if _, err := rand.Read(b[:]); err != nil {
		return step{}, err
	}
	st := step{jump: 1 + binary.BigEndian.Uint32(b[:])%restoreJump}
	if s := now.Unix() - time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).Unix(); s > 0 && s < math.MaxUint32/2 {
		st.clock = uint32(s)
	}
	return st, nil
}

func (s step) beyond(epoch uint32) (uint32, error) {
	switch {
	case s.clock > epoch:
		return s.clock, nil
	case epoch > math.MaxUint32-s.jump-1:
		return 0, problem.New(problem.Unavailable, "this node's epochs are used up", "give it a new identity and enrol it again")
	}
	return epoch + s.jump, nil
}

func readFloor(r kv.Reader) (uint32, error) {
	b, err := r.Get(metaTable, metaFloor)
	if err != nil || b == nil {
		return 0, err
	}
	if len(b) != 5 || b[0] != valueVersion {
		return 0, &problem.Error{Code: problem.Damaged, What: "the state of own origins cannot be read", Where: "epoch floor",
			Fix: "restore from a backup or from the server", Err: errValue}
	}
	return binary.BigEndian.Uint32(b[1:]), nil
}

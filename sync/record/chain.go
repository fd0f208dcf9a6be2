package record

import "errors"

// How a record can fail to follow a head. Test with errors.Is.
var (
	// ErrGap: records between the head and this one are missing.
	ErrGap = errors.New("records before this one are missing")
	// ErrFork: this record belongs to another history of the same origin.
	ErrFork = errors.New("two histories under one origin")
	// ErrDuplicate: the chain already reaches as far as this record. Below the
	// head only a comparison with the stored bytes tells a copy from a fork.
	ErrDuplicate = errors.New("the chain already has this record")
)

// CheckNext tells whether r is the record right after head: nil if so, else
// ErrGap, ErrFork or ErrDuplicate. Origins are the caller's to compare.
func CheckNext(head Head, r *Record) error {
	switch {
	case r.Seq > head.Seq+1:
		return ErrGap
	case r.Seq == head.Seq+1:
		if r.Prev != head.Hash {
			return ErrFork
		}
		return nil
	case r.Seq == head.Seq && r.Hash != head.Hash:
		return ErrFork
	default:
		return ErrDuplicate
	}
}

// Head gives the head of a chain that ends with r.
func (r *Record) Head() Head { return Head{Seq: r.Seq, Hash: r.Hash} }

// Ref gives the record's place.
func (r *Record) Ref() Ref { return Ref{Origin: r.Origin(), Seq: r.Seq} }

package view

import (
	"bytes"
	"iter"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// nextAt gives the mounting that follows another at the same place, or nil.
func (s *Set) nextAt(r kv.Reader, sc scope.Scope, d *doc[lab.Mounting]) (*doc[lab.Mounting], error) {
	b := d.body()
	at := placeKey(b)
	from := kv.Join(at, when(b.EffectiveAt), d.Made.Stamp.key(), []byte{0})
	return first(sc, s.mountings.ScanIndex(r, byPlace, from, kv.PrefixEnd(at), false))
}

// first gives the first document of a scan that lies in the scope, or nil.
func first[B any](sc scope.Scope, scan iter.Seq2[*doc[B], error]) (*doc[B], error) {
	for d, err := range scan {
		if err != nil {
			return nil, err
		}
		if sc.Allows(d.Lab) {
			return d, nil
		}
	}
	return nil, nil
}

// lastBefore gives the latest fact about an item with a time <= t, or nil.
func lastBefore[B any](r kv.Reader, t *index.Table[doc[B]], sc scope.Scope, item uuid.UUID, at lab.Time) (*doc[B], error) {
	return first(sc, t.ScanIndex(r, byItem, item[:], kv.Join(item[:], when(at+1)), true))
}

// mountedAt gives the mountings in force at a rig at a time, by position.
func (s *Set) mountedAt(r kv.Reader, sc scope.Scope, rig uuid.UUID, t lab.Time) ([]*doc[lab.Mounting], error) {
	var out []*doc[lab.Mounting]
	from, end := rig[:], kv.PrefixEnd(rig[:])
	for {
		some, err := first(sc, s.mountings.ScanIndex(r, byPlace, from, end, false))
		if err != nil || some == nil {
			return out, err
		}
		at := placeKey(some.body())
		from = kv.PrefixEnd(at)
		d, err := first(sc, s.mountings.ScanIndex(r, byPlace, at, kv.Join(at, when(t+1)), true))
		if err != nil {
			return nil, err
		}
		if d == nil || d.body().Item == uuid.Nil {
			continue
		}
		gone, err := s.left(r, sc, d, t)
		if err != nil {
			return nil, err
		}
		if !gone {
			out = append(out, d)
		}
	}
}

// strokes counts the strokes on a rig in from <= t < to: those that are recorded,
// and those that its own counter counted beyond them.
func (s *Set) strokes(r kv.Reader, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (int64, error) {
	n, err := s.recorded(r, sc, rig, from, to)
	if err != nil {
		return 0, err
	}
	u, err := s.unaccounted(r, sc, rig, from, to)
	return n + u, err
}

// recorded counts the strokes on a rig that are recorded in from <= t < to: whole
// days from day counts, the rest exactly.
func (s *Set) recorded(r kv.Reader, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (int64, error) {
	if to <= from {
		return 0, nil
	}
	a, err := strokesIn(r, s.shots, striking, sc, rig, from, to)
	if err != nil {
		return 0, err
	}
	b, err := strokesIn(r, s.sightings, each, sc, rig, from, to)
	if err != nil {
		return 0, err
	}
	c, err := strokesIn(r, s.unfiled, summed, sc, rig, from, to)
	return a + b + c, err
}

// exactly counts the strokes between two keys of byRig.
type exactly[B any] func(r kv.Reader, t *index.Table[doc[B]], from, to []byte) (int64, error)

// striking counts shots without those that are no stroke.
func striking(r kv.Reader, t *index.Table[doc[lab.Shot]], from, to []byte) (int64, error) {
	all, err := each(r, t, from, to)
	if err != nil {
		return 0, err
	}
	second, err := keysIn(r, t, bySecond, from, to)
	return all - second, err
}

// each counts a document as a stroke.
func each[B any](r kv.Reader, t *index.Table[doc[B]], from, to []byte) (int64, error) {
	return keysIn(r, t, byRig, from, to)
}

func keysIn[B any](r kv.Reader, t *index.Table[doc[B]], name string, from, to []byte) (n int64, err error) {
	for _, err := range t.ScanKeys(r, name, from, to, false) {
		if err != nil {
			return 0, err
		}
		n++
	}
	return n, nil
}

func strokesIn[B any](r kv.Reader, t *index.Table[doc[B]], count exactly[B], sc scope.Scope, rig uuid.UUID, from, to lab.Time) (sum int64, err error) {
	// The labs with strokes on the rig: one seek each in (rig, lab, day).
	next, end := rig[:], kv.PrefixEnd(rig[:])
	for next != nil {
		var of uuid.UUID
		for c, err := range t.ScanTally(r, perDay, next, end, false) {
			if err != nil {
				return 0, err
			}
			copy(of[:], c.Key[len(rig):])
			break
		}
		if of == uuid.Nil {
			break
		}
		if sc.Allows(of) {
			n, err := strokesOf(r, t, count, of, rig, from, to)
			if err != nil {
				return 0, err
			}
			sum += n
		}
		next = kv.PrefixEnd(kv.Join(rig[:], of[:]))
		if next == nil || (end != nil && bytes.Compare(next, end) >= 0) {
			break
		}
	}
	return sum, nil
}

func strokesOf[B any](r kv.Reader, t *index.Table[doc[B]], count exactly[B], of, rig uuid.UUID, from, to lab.Time) (sum int64, err error) {
	exact := func(a, b lab.Time) error {
		key := kv.Join(of[:], rig[:])
		n, err := count(r, t, kv.Join(key, when(a)), kv.Join(key, when(b)))
		sum += n
		return err
	}
	first, last := from.Day()+1, to.Day() // whole days: first <= day < last
	if first > last {
		return sum, exact(from, to)
	}
	if lab.DayStart(first-1) == from {
		first--
	} else if err := exact(from, lab.DayStart(first)); err != nil {
		return 0, err
	}
	key := kv.Join(rig[:], of[:])
	days, err := t.SumRange(r, perDay, kv.Join(key, kv.I64(first)), kv.Join(key, kv.I64(last)))
	if err != nil {
		return 0, err
	}
	sum += days
	return sum, exact(lab.DayStart(last), to)
}

// sortByPosition orders mountings for people.
func sortByPosition(all []MountedRow) {
	slices.SortFunc(all, func(a, b MountedRow) int {
		return bytes.Compare([]byte(a.Mounting.Mounting.Position), []byte(b.Mounting.Mounting.Position))
	})
}

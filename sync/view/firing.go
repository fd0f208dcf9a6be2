package view

import (
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// reduceFiring takes in what is said about firing.
func (s *Set) reduceFiring(tx kv.Tx, r *record.Record) (known bool, err error) {
	switch r.Kind {
	case lab.KindExpected:
		return true, stating(tx, s.expected, r)
	case lab.KindStrokes:
		return true, stating(tx, s.unfiled, r)
	case lab.KindCounterRead:
		return true, stating(tx, s.readings, r)
	case lab.KindCheckLimits:
		return true, stating(tx, s.checkLimits, r)
	case lab.KindAbsent:
		return true, stating(tx, s.absent, r)
	case lab.KindRated:
		return true, stating(tx, s.rated, r)
	case lab.KindRunOrder:
		return true, reading(r, func(b *lab.RunOrder) error { return say(tx, s.runs, r, b) })
	case lab.KindAccepted:
		return true, reading(r, func(b *lab.Accepted) error { return say(tx, s.accepted, r, b) })
	case lab.KindTakenOut:
		return true, reading(r, func(b *lab.TakenOut) error { return say(tx, s.takenOut, r, b) })
	case lab.KindDisplay:
		return true, reading(r, func(b *lab.Display) error { return s.display(tx, r, b) })
	case lab.KindExpectedSettled:
		return true, reading(r, func(b *lab.ExpectedSettled) error {
			return mark(tx, s.expected, r, b.Expected, Mark{Reason: b.Reason, Shot: b.Shot})
		})
	}
	return false, nil
}

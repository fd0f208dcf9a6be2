package view

import (
	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// unmended takes off what was mended until t: the shots fired later went on with
// nothing of it. False says that nothing is left.
func (s *Set) unmended(r kv.Reader, sc scope.Scope, d *doc[lab.WentOn], t lab.Time) (lab.WentOn, bool, error) {
	w := *d.body()
	if len(w.Of) != len(w.What) {
		return w, true, nil
	}
	var what []string
	var of []lab.Lacked
	for i, o := range w.Of {
		var mended bool
		var err error
		switch {
		case o.Item == uuid.Nil:
		case o.Ends == lab.KindCalibration:
			mended, err = mendedBy(r, s.calibrations, sc, d, o.Item, t, calibrationOf)
		case o.Ends == lab.KindService:
			mended, err = mendedBy(r, s.services, sc, d, o.Item, t, serviceOf)
		}
		if err != nil {
			return w, false, err
		}
		if !mended {
			what, of = append(what, w.What[i]), append(of, o)
		}
	}
	w.What, w.Of = what, of
	return w, len(what) > 0, nil
}

// mendedBy says that a fact about an item ended what was gone on with, at the
// time of the fact. One that is dated earlier and was recorded after the reason,
// as a certificate that came by mail, ends it when it was recorded.
func mendedBy[B any](r kv.Reader, of *index.Table[doc[B]], sc scope.Scope, w *doc[lab.WentOn], item uuid.UUID, t lab.Time, when func(*B) (uuid.UUID, lab.Time)) (bool, error) {
	from := w.body().EffectiveAt
	for d, err := range of.ScanIndex(r, byItem, item[:], kv.PrefixEnd(item[:]), true) {
		if err != nil {
			return false, err
		}
		_, at := when(d.body())
		if at <= from {
			if d.Made.Stamp.Compare(w.Made.Stamp) < 0 {
				continue // it was known
			}
			at = lab.At(d.head().RecordedAt)
		}
		if sc.Allows(d.Lab) && at <= t {
			return true, nil
		}
	}
	return false, nil
}

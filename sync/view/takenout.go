package view

import (
	"context"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

func takenOutTable() sayings[lab.TakenOut] {
	t := saidTable("view.takenout", func(b *lab.TakenOut) []byte { return kv.Str(lab.Fold(b.Specimen)) })
	t.Indexes = []index.Index[said[lab.TakenOut]]{{Name: byTime, Keys: func(s *said[lab.TakenOut]) [][]byte { return one(s.Lab[:], when(s.Body.EffectiveAt)) }}}
	return t
}

// TakenOut gives when a specimen left the conditioning chamber; the zero time:
// nobody said so, or it is back in there.
func (v *Reader) TakenOut(ctx context.Context, sc scope.Scope, specimen string) (at lab.Time, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		s, err := v.set.takenOut.last(r, sc, kv.Str(lab.Fold(specimen)))
		if err == nil && s != nil && !s.Body.Back {
			at = s.Body.EffectiveAt
		}
		return err
	})
	return at, err
}

// OutSince lists the specimens that were said to have left the conditioning
// chamber at a time or later, each once, the last first. Those that are back in
// there are among them.
func (v *Reader) OutSince(ctx context.Context, sc scope.Scope, from lab.Time) (out []string, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		for _, id := range labs {
			for s, err := range v.set.takenOut.ScanIndex(r, byTime, kv.Join(id[:], when(from)), kv.PrefixEnd(id[:]), true) {
				if err != nil {
					return err
				}
				name := lab.Fold(s.Body.Specimen)
				if !slices.ContainsFunc(out, func(x string) bool { return lab.Fold(x) == name }) {
					out = append(out, s.Body.Specimen)
				}
			}
		}
		return nil
	})
	return out, err
}

package view

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// MapRow is a channel map that shots of a rig were read by.
type MapRow struct {
	record.Attachment
	LastUsed lab.Time // when the newest of these shots was fired
}

// readBy gives the maps that a shot was read by: when it was taken in, and for the
// score that holds. Guesses are none.
func readBy(d *doc[lab.Shot], b *lab.Shot) []record.Hash {
	out := []record.Hash{b.MapSHA256}
	if d.Figures != nil && d.Figures.Map != b.MapSHA256 {
		out = append(out, d.Figures.Map)
	}
	return slices.DeleteFunc(out, func(h record.Hash) bool { return h == record.Hash{} })
}

// MapsUsed lists the channel maps that the shots of a rig were read by, the one of
// the newest shot first. It looks at one shot for each map.
func (v *Reader) MapsUsed(ctx context.Context, sc scope.Scope, rig uuid.UUID) (out []MapRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		to := kv.PrefixEnd(rig[:])
		for {
			d, sum, err := v.set.lastBy(r, sc, rig, to)
			if d == nil || err != nil {
				return err
			}
			a, err := v.set.mapAttached(r, d, sum)
			if err != nil {
				return err
			}
			if a != nil {
				out = append(out, MapRow{*a, d.body().EffectiveAt})
			}
			to = kv.Join(rig[:], sum[:])
		}
	})
	slices.SortStableFunc(out, func(a, b MapRow) int { return cmp.Compare(b.LastUsed, a.LastUsed) })
	return out, err
}

// lastBy gives the newest shot of the map whose entries end before to, and the map.
func (s *Set) lastBy(r kv.Reader, sc scope.Scope, rig uuid.UUID, to []byte) (*doc[lab.Shot], record.Hash, error) {
	d, err := first(sc, s.shots.ScanIndex(r, byMap, rig[:], to, true))
	if d == nil || err != nil {
		return nil, record.Hash{}, err
	}
	var sum record.Hash
	for _, one := range readBy(d, d.body()) { // the largest that is still below to
		if string(kv.Join(rig[:], one[:])) < string(to) && string(one[:]) > string(sum[:]) {
			sum = one
		}
	}
	return d, sum, nil
}

// mapAttached finds the bytes of a map beside the shot or one of its scores.
func (s *Set) mapAttached(r kv.Reader, d *doc[lab.Shot], sum record.Hash) (*record.Attachment, error) {
	if a, ok := attachment(d.Made.Attachments, lab.RoleMap); ok && a.SHA256 == sum {
		return &a, nil
	}
	scores, err := s.scoresOf(r, d.body(), docKey(d.UID, d.Lab))
	for i := range scores {
		if a := scores[i].Map; a != nil && a.SHA256 == sum {
			return a, nil
		}
	}
	return nil, err
}

// MapOf finds the channel map that a shot is read by, among what is kept with it
// and its scores; nil where its map was guessed.
func (r *ShotRow) MapOf(scores []ScoreRow) *record.Attachment {
	sum := r.Map()
	if a, ok := r.Attachment(lab.RoleMap); ok && a.SHA256 == sum {
		return &a
	}
	for i := range scores {
		if a := scores[i].Map; a != nil && a.SHA256 == sum {
			return a
		}
	}
	return nil
}

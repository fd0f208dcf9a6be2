package view

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// AbsentRow says that a rig does not have a position.
type AbsentRow struct {
	Head
	Absent lab.Absent
}

// RatedRow is the maximum allowed pressure of a rig's tank from a time on.
type RatedRow struct {
	Head
	Rated lab.Rated
}

func absentTable() *index.Table[doc[lab.Absent]] {
	return dated("view.absent", func(a *lab.Absent) (uuid.UUID, lab.Time) { return a.Rig, a.EffectiveAt })
}

func ratedTable() *index.Table[doc[lab.Rated]] {
	return dated("view.rated", func(p *lab.Rated) (uuid.UUID, lab.Time) { return p.Rig, p.EffectiveAt })
}

// AbsentAt lists what positions a rig is said not to have at a time, each once.
func (v *Reader) AbsentAt(ctx context.Context, sc scope.Scope, rig uuid.UUID, t lab.Time) (out []AbsentRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		said := map[string]bool{}
		for d, err := range v.set.absent.ScanIndex(r, byItem, rig[:], kv.Join(rig[:], when(t+1)), false) {
			if err != nil {
				return err
			}
			if at := lab.Fold(d.body().Position); sc.Allows(d.Lab) && !said[at] {
				said[at] = true
				out = append(out, AbsentRow{Head: d.head(), Absent: *d.body()})
			}
		}
		return nil
	})
	return out, err
}

// RatedAt gives the maximum allowed tank pressure of a rig at a time; nil: none
// is stated.
func (v *Reader) RatedAt(ctx context.Context, sc scope.Scope, rig uuid.UUID, t lab.Time) (out *RatedRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out, err = v.set.ratedAt(r, sc, rig, t)
		return err
	})
	return out, err
}

func (s *Set) ratedAt(r kv.Reader, sc scope.Scope, rig uuid.UUID, t lab.Time) (*RatedRow, error) {
	d, err := lastBefore(r, s.rated, sc, rig, t)
	if err != nil || d == nil {
		return nil, err
	}
	return &RatedRow{Head: d.head(), Rated: *d.body()}, nil
}

// aboveRated says in words that a stroke was fired above the maximum allowed
// pressure of its rig; "" when it was not, or when either is not stated.
func (s *Set) aboveRated(r kv.Reader, sc scope.Scope, b *lab.Shot) (string, error) {
	if b.TankPressureKPaGauge == nil {
		return "", nil
	}
	most, err := s.ratedAt(r, sc, b.Rig, b.EffectiveAt)
	if err != nil || most == nil || *b.TankPressureKPaGauge <= most.Rated.PressureKPaGauge {
		return "", err
	}
	return fmt.Sprintf("%.1f kPa gauge was stated, %.1f kPa is the maximum allowed, marked on: %s", *b.TankPressureKPaGauge, most.Rated.PressureKPaGauge, most.Rated.MarkedOn), nil
}

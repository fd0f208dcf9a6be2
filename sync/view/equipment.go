package view

import (
	"context"
	"math"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Items lists equipment by class and serial number, a class alone when one is
// given. Withdrawn entries are left out.
func (v *Reader) Items(ctx context.Context, sc scope.Scope, class string, page Page) (List[ItemRow], error) {
	q := byNames(v.set.items, itemNames)
	if class != "" {
		k := kv.Str(lab.Fold(class))
		q.from, q.to = k, kv.PrefixEnd(k)
	}
	return list(ctx, v, sc, q, page, itemRow)
}

func itemRow(d *doc[lab.Item]) ItemRow { return ItemRow{Head: d.head(), Item: *d.body()} }

// Item gives one piece of equipment.
func (v *Reader) Item(ctx context.Context, sc scope.Scope, id uuid.UUID) (ItemRow, error) {
	d, err := get(ctx, v, v.set.items, sc, lab.KindItem, id)
	if err != nil {
		return ItemRow{}, err
	}
	return itemRow(d), nil
}

// Rigs lists rigs by name, without withdrawn ones.
func (v *Reader) Rigs(ctx context.Context, sc scope.Scope, page Page) (List[RigRow], error) {
	return list(ctx, v, sc, byNames(v.set.rigs, rigNames), page, rigRow)
}

func rigRow(d *doc[lab.Rig]) RigRow { return RigRow{Head: d.head(), Rig: *d.body()} }

// Rig gives one rig.
func (v *Reader) Rig(ctx context.Context, sc scope.Scope, id uuid.UUID) (RigRow, error) {
	d, err := get(ctx, v, v.set.rigs, sc, lab.KindRig, id)
	if err != nil {
		return RigRow{}, err
	}
	return rigRow(d), nil
}

// Services lists the services of an item, newest first, at most MaxLimit.
func (v *Reader) Services(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]ServiceRow, error) {
	return facts(ctx, v, v.set.services, sc, item, serviceRow)
}

func serviceRow(d *doc[lab.Service]) ServiceRow {
	return ServiceRow{Head: d.head(), Service: *d.body()}
}

// Calibrations lists the certificates of an item, newest first, at most MaxLimit.
func (v *Reader) Calibrations(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]CalibrationRow, error) {
	return facts(ctx, v, v.set.calibrations, sc, item, calibrationRow)
}

// Calibration gives one certificate.
func (v *Reader) Calibration(ctx context.Context, sc scope.Scope, id uuid.UUID) (CalibrationRow, error) {
	d, err := get(ctx, v, v.set.calibrations, sc, lab.KindCalibration, id)
	if err != nil {
		return CalibrationRow{}, err
	}
	return calibrationRow(d), nil
}

func calibrationRow(d *doc[lab.Calibration]) CalibrationRow {
	return CalibrationRow{Head: d.head(), Calibration: *d.body(), Attachments: d.Made.Attachments}
}

// Mountings lists where an item was mounted, newest first, at most MaxLimit.
func (v *Reader) Mountings(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]MountingRow, error) {
	return facts(ctx, v, v.set.mountings, sc, item, mountingRow)
}

func mountingRow(d *doc[lab.Mounting]) MountingRow {
	return MountingRow{Head: d.head(), Mounting: *d.body()}
}

// MountedRow is what sits at a position of a rig.
type MountedRow struct {
	Mounting MountingRow
	Item     *ItemRow // nil: the item is not in the register
}

// Mounted lists what sat at a rig at a time, by position.
func (v *Reader) Mounted(ctx context.Context, sc scope.Scope, rig uuid.UUID, t lab.Time) (out []MountedRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out, err = v.set.mounted(r, sc, rig, t)
		return err
	})
	return out, err
}

func (s *Set) mounted(r kv.Reader, sc scope.Scope, rig uuid.UUID, t lab.Time) ([]MountedRow, error) {
	all, err := s.mountedAt(r, sc, rig, t)
	if err != nil {
		return nil, err
	}
	out := make([]MountedRow, 0, len(all))
	for _, d := range all {
		row := MountedRow{Mounting: mountingRow(d)}
		i, err := find(r, s.items, sc, d.body().Item)
		if err != nil {
			return nil, err
		}
		if i != nil {
			row.Item = new(itemRow(i))
		}
		out = append(out, row)
	}
	sortByPosition(out)
	return out, nil
}

// Usage is how much an item has been used: strokes of the rigs at which it
// sat, dry and void ones and counted sightings too.
type Usage struct {
	Item                ItemRow
	StrokesSinceService int64
	TotalStrokes        int64 // with the opening count and the corrections
	Corrected           int64 // of these, from corrections of the counter
	Interval            int64 // strokes between services; 0: none is set
	Plan                HeldPlan
	LastService         *ServiceRow
	Rig                 uuid.UUID // where it sits now; zero: nowhere
	Position            string    // several of one sensor's case as “ax, ay, az”
	Positions           []string  // the same, one by one
	Stated              *StateRow // nil: in service, nobody said where
}

// Due says that the interval is used up.
func (u *Usage) Due() bool { return u.Interval > 0 && u.StrokesSinceService >= u.Interval }

// Near says that nine tenths of the interval are used up.
func (u *Usage) Near() bool { return u.Interval > 0 && u.StrokesSinceService*10 >= u.Interval*9 }

// Left is the number of strokes until the next service, negative when it is
// overdue; zero without an interval.
func (u *Usage) Left() int64 {
	if u.Interval == 0 {
		return 0
	}
	return u.Interval - u.StrokesSinceService
}

// RamUsage gives the usage of a ram, or of any other item, up to now. It is
// computed from what is known when it is asked, so that late shots, mountings
// and services need no recount. also names further ids of the item's lab, under
// which the plan of its class may stand.
func (v *Reader) RamUsage(ctx context.Context, sc scope.Scope, item uuid.UUID, now time.Time, also ...record.LabID) (u Usage, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.items, sc, item)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindItem, item)
		}
		u, err = v.set.usage(r, sc, d, lab.At(now), also)
		return err
	})
	return u, err
}

func (s *Set) usage(r kv.Reader, sc scope.Scope, d *doc[lab.Item], now lab.Time, also []record.LabID) (u Usage, err error) {
	u.Item = itemRow(d)
	if u.Plan, err = s.planOf(r, sc, d, also); err != nil {
		return Usage{}, err
	}
	u.Interval = u.Plan.EveryStrokes
	served, err := lastBefore(r, s.services, sc, d.UID, now)
	if err != nil {
		return Usage{}, err
	}
	var since lab.Time
	if served != nil {
		u.LastService = &ServiceRow{Head: served.head(), Service: *served.body()}
		since = served.body().EffectiveAt
	} else {
		u.StrokesSinceService = u.Item.Item.OpeningStrokes
	}
	if u.Stated, err = s.stateAt(r, sc, d.UID, now); err != nil {
		return Usage{}, err
	}
	if u.Corrected, err = s.corrected(r, sc, d.UID, math.MinInt64, now+1); err != nil {
		return Usage{}, err
	}
	late := u.Corrected
	if served != nil {
		if late, err = s.corrected(r, sc, d.UID, since, now+1); err != nil {
			return Usage{}, err
		}
	}
	u.StrokesSinceService += late
	u.TotalStrokes = u.Item.Item.OpeningStrokes + u.Corrected
	spans, err := s.spans(r, sc, d.UID, now+1)
	if err != nil {
		return Usage{}, err
	}
	for _, p := range spans {
		all, err := s.strokes(r, sc, p.rig, p.from, p.to)
		if err != nil {
			return Usage{}, err
		}
		after := all
		if served != nil && p.from < since {
			if after, err = s.strokes(r, sc, p.rig, since, p.to); err != nil {
				return Usage{}, err
			}
		}
		u.TotalStrokes += all
		u.StrokesSinceService += after
		if p.to == now+1 {
			u.Rig, u.Positions, u.Position = p.rig, p.positions, p.position()
		}
	}
	return u, nil
}

// Usages gives the usage of every item of a class, by serial number.
func (v *Reader) Usages(ctx context.Context, sc scope.Scope, class string, now time.Time, page Page) (out List[Usage], err error) {
	k := kv.Str(lab.Fold(class))
	q := byNames(v.set.items, itemNames)
	q.from, q.to = k, kv.PrefixEnd(k)
	err = v.store.View(ctx, func(r kv.Reader) error {
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		rows, next, err := run(r, labs, q, page)
		out = List[Usage]{Next: next}
		for _, d := range rows {
			u, err := v.set.usage(r, sc, d, lab.At(now), nil)
			if err != nil {
				return err
			}
			out.Rows = append(out.Rows, u)
		}
		return err
	})
	return out, err
}

// Strokes counts the strokes on a rig in from <= t < to.
func (v *Reader) Strokes(ctx context.Context, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (n int64, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		n, err = v.set.strokes(r, sc, rig, from, to)
		return err
	})
	return n, err
}

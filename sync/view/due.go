package view

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// Due is the state of an item's calibration.
type Due string

// The states, from bad to good.
const (
	NeverCalibrated Due = "never calibrated"
	Overdue         Due = "overdue"
	DueSoon         Due = "due soon"
	InCalibration   Due = "ok"
	NotRequired     Due = "not required"
)

// SoonDays is how many days before its due date a calibration is due soon.
const SoonDays = 30

// CalibrationState says whether an item was in calibration at a time.
type CalibrationState struct {
	State       Due
	Calibration *CalibrationRow // the latest at that time; nil: none
	Days        int64           // whole days until it is due, negative when overdue
	Text        string          // one sentence for a flag; "" when all is well
	Review      *ReviewRow      // nil: Calibration's sensitivity holds; else Review's does
}

// DueRow is one item on the list of calibrations.
type DueRow struct {
	Item        ItemRow
	Calibration CalibrationState
}

// SensorsDue lists the items that need a calibration, or have a certificate all
// the same, the most urgent first: never calibrated, then by due date.
func (v *Reader) SensorsDue(ctx context.Context, sc scope.Scope, now time.Time, page Page) (out List[DueRow], err error) {
	after, err := parseCursor(page.After)
	if err != nil {
		return out, err
	}
	var all []DueRow
	n := page.limit()
	err = v.store.View(ctx, func(r kv.Reader) error {
		all = nil
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		for _, id := range labs {
			for d, err := range v.set.items.ScanIndex(r, byName, id[:], kv.PrefixEnd(id[:]), false) {
				if err != nil {
					return err
				}
				c, err := v.set.calibrationAt(r, sc, d, lab.At(now))
				if err != nil {
					return err
				}
				row := DueRow{itemRow(d), c}
				if c.State == NotRequired {
					continue
				}
				if after != nil && row.place().compare(*after) <= 0 {
					continue
				}
				if all = append(all, row); len(all) > 2*n+64 { // only the first n, and whether there are more, matter
					sortDue(all)
					all = slices.Delete(all, n+1, len(all))
				}
			}
		}
		return nil
	})
	if err != nil {
		return out, err
	}
	sortDue(all)
	if len(all) > n {
		all = all[:n]
		out.Next = all[n-1].place().cursor()
	}
	out.Rows = all
	return out, nil
}

func sortDue(all []DueRow) {
	slices.SortFunc(all, func(a, b DueRow) int { return a.place().compare(b.place()) })
}

func (d *DueRow) place() place {
	var due lab.Time
	if c := d.Calibration.Calibration; c != nil {
		due = c.Calibration.DueAt
	}
	never := []byte{1}
	if d.Calibration.State == NeverCalibrated {
		never = []byte{0}
	}
	return place{kv.Join(never, when(due)), docKey(d.Item.ID, d.Item.Lab)}
}

// CalibrationAt says whether an item was in calibration at a time.
func (v *Reader) CalibrationAt(ctx context.Context, sc scope.Scope, item uuid.UUID, t lab.Time) (c CalibrationState, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.items, sc, item)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindItem, item)
		}
		c, err = v.set.calibrationAt(r, sc, d, t)
		return err
	})
	return c, err
}

func (s *Set) calibrationAt(r kv.Reader, sc scope.Scope, item *doc[lab.Item], t lab.Time) (CalibrationState, error) {
	d, err := lastBefore(r, s.calibrations, sc, item.UID, t)
	if err != nil {
		return CalibrationState{}, err
	}
	name := label(item.body())
	if d == nil {
		if !item.body().CalibrationRequired {
			return CalibrationState{State: NotRequired}, nil
		}
		return CalibrationState{State: NeverCalibrated, Text: name + " has no calibration on record at this time"}, nil
	}
	c := CalibrationState{State: InCalibration, Calibration: new(calibrationRow(d))}
	if c.Review, err = s.reviewAt(r, sc, item.UID, d.UID, t); err != nil {
		return CalibrationState{}, err
	}
	due := d.body().DueAt
	c.Days = lab.Time(due - t).Day()
	switch {
	case t > due:
		c.State = Overdue
		_, day := d.body().Days()
		c.Text = fmt.Sprintf("%s was due for calibration on %s", name, day)
	case due-t <= SoonDays*lab.DayMS:
		c.State = DueSoon
	}
	return c, nil
}

func label(i *lab.Item) string { return i.Class + " " + i.Serial }

// SensorRow is an item that was mounted when a shot was fired.
type SensorRow struct {
	MountedRow
	Calibration CalibrationState
	Flag        *lab.Flag // nil: nothing to say
}

// SensorsOf lists what was mounted at a shot's rig at its effective time, with
// the state of each calibration at that time.
func (v *Reader) SensorsOf(ctx context.Context, sc scope.Scope, shot uuid.UUID) (out []SensorRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		d, err := find(r, v.set.shots, sc, shot)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindShot, shot)
		}
		b := d.body()
		all, err := v.set.mounted(r, sc, b.Rig, b.EffectiveAt)
		for i := 0; i < len(all) && err == nil; i++ {
			var row SensorRow
			row, err = v.set.sensor(r, sc, all[i], b.EffectiveAt)
			out = append(out, row)
		}
		return err
	})
	return out, err
}

func (s *Set) sensor(r kv.Reader, sc scope.Scope, m MountedRow, t lab.Time) (SensorRow, error) {
	row := SensorRow{MountedRow: m}
	position := m.Mounting.Mounting.Position
	if m.Item == nil {
		row.Flag = &lab.Flag{Code: lab.FlagItemUnregistered, Channel: position, Text: "the item mounted here is not in the register"}
		return row, nil
	}
	d, err := find(r, s.items, sc, m.Item.ID)
	if err != nil || d == nil {
		return row, err
	}
	if row.Calibration, err = s.calibrationAt(r, sc, d, t); err != nil {
		return row, err
	}
	switch row.Calibration.State {
	case Overdue:
		row.Flag = &lab.Flag{Code: lab.FlagOverdue, Channel: position, Text: row.Calibration.Text}
	case NeverCalibrated:
		row.Flag = &lab.Flag{Code: lab.FlagNeverCalibrated, Channel: position, Text: row.Calibration.Text}
	}
	return row, nil
}

package inventory

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// fits holds a fact about an item against the item's history. What contradicts
// it is refused; what is only unlikely is refused until it is confirmed.
func (k *checker) fits(ctx context.Context, body lab.Body) error {
	switch b := body.(type) {
	case *lab.Service:
		if err := k.carriesOut(ctx, b); err != nil {
			return err
		}
		return k.service(ctx, b)
	case *lab.WorkOrder:
		return k.opens(ctx, b)
	case *lab.OrderCancelled:
		return k.cancels(ctx, b)
	case *lab.Booking:
		return k.books(ctx, b)
	case *lab.BookingCancelled:
		return k.frees(ctx, b)
	case *lab.Calibration:
		return k.calibration(ctx, b)
	case *lab.Mounting:
		return k.mounting(ctx, b)
	case *lab.Correction:
		return k.correction(ctx, b)
	case *lab.Item:
		return k.identity(ctx, b)
	}
	return nil
}

// clash is a fact that contradicts another one.
func clash(where, what, fix string) error {
	return &problem.Error{Code: problem.Conflict, Where: where, What: what, Fix: fix}
}

func date(t lab.Time) string { return t.Time().Format(time.DateOnly) }

// service refuses a counter that runs backwards.
func (k *checker) service(ctx context.Context, b *lab.Service) error {
	if b.CounterStrokes == nil {
		return nil
	}
	all, err := k.v.Services(ctx, k.only, b.Item)
	if err != nil {
		return err
	}
	for i := range all {
		o := &all[i].Service
		if o.CounterStrokes == nil {
			continue
		}
		switch {
		case o.EffectiveAt <= b.EffectiveAt && *o.CounterStrokes > *b.CounterStrokes:
			return clash("counter_strokes", fmt.Sprintf("At the service of %s the counter showed %d strokes; %d are fewer.", date(o.EffectiveAt), *o.CounterStrokes, *b.CounterStrokes),
				"Check the reading and the date. A counter that was exchanged is a correction of the counter.")
		case o.EffectiveAt > b.EffectiveAt && *o.CounterStrokes < *b.CounterStrokes:
			return clash("counter_strokes", fmt.Sprintf("At the later service of %s the counter showed %d strokes; %d are more.", date(o.EffectiveAt), *o.CounterStrokes, *b.CounterStrokes),
				"Check the reading and the date.")
		}
	}
	return nil
}

// calibration refuses a certificate that is there already, and asks about what is unlikely.
func (k *checker) calibration(ctx context.Context, b *lab.Calibration) error {
	i, err := k.v.Item(ctx, k.only, b.Item)
	if err != nil {
		return err
	}
	all, err := k.v.Calibrations(ctx, k.only, b.Item)
	if err != nil {
		return err
	}
	on, _ := b.Days()
	var before *lab.Calibration
	for j := range all { // newest first
		o := &all[j].Calibration
		if then, _ := o.Days(); lab.Fold(o.Certificate) == lab.Fold(b.Certificate) && then == on {
			return clash("certificate", "This certificate is recorded for the item already.", "Nothing needs to be done; withdraw the other entry if that one is wrong.")
		}
		if before == nil && o.EffectiveAt <= b.EffectiveAt {
			before = o
		}
	}
	if k.confirmed {
		return nil
	}
	var errs []error
	s, err := k.v.StateAt(ctx, k.only, b.Item, lab.At(time.Now()))
	if err != nil {
		return err
	}
	if s.State() == lab.StateRetired {
		errs = append(errs, clash("item", fmt.Sprintf("The item is retired since %s (%s).", date(s.ItemState.EffectiveAt), s.ItemState.Reason),
			"Check that the certificate is for this item; if it is entered late for what was measured with it, confirm it"))
	}
	for _, d := range b.Doubts(&i.Item, before) {
		errs = append(errs, clash(d.Field, d.What, d.Fix+"; if it is right as it stands, confirm it"))
	}
	return errors.Join(errs...)
}

// mounting refuses an item that is retired, or that is put at another place at
// the very same time. Mounted elsewhere before, it counts as moved.
func (k *checker) mounting(ctx context.Context, b *lab.Mounting) error {
	if b.Item == uuid.Nil {
		return nil
	}
	s, err := k.v.StateAt(ctx, k.only, b.Item, b.EffectiveAt)
	if err != nil {
		return err
	}
	if s.State() == lab.StateRetired {
		return clash("item", fmt.Sprintf("The item is retired since %s (%s).", date(s.ItemState.EffectiveAt), s.ItemState.Reason),
			"Choose another item, or put this one into service again first.")
	}
	all, err := k.v.Mountings(ctx, k.only, b.Item)
	if err != nil {
		return err
	}
	if err := k.anotherAxis(ctx, b); err != nil {
		return err
	}
	for i := range all {
		o := &all[i].Mounting
		if o.EffectiveAt == b.EffectiveAt && b.Ends(o) && (o.Rig != b.Rig || lab.Fold(o.Position) != lab.Fold(b.Position)) {
			return clash("effective_at", fmt.Sprintf("At this very time the item was mounted at another place (position %s).", o.Position),
				"An item is in one place at a time: check which it was and when, and withdraw the other entry if that one is wrong. If both are axes of one sensor's case, tick that it stays at its other positions too.")
		}
	}
	return k.moves(ctx, b)
}

// moves asks before an item that sits somewhere is put at another place.
func (k *checker) moves(ctx context.Context, b *lab.Mounting) error {
	if !k.askMoves || bool(k.confirmed) {
		return nil
	}
	u, err := k.v.RamUsage(ctx, k.only, b.Item, b.EffectiveAt.Time())
	if err != nil || u.Rig == uuid.Nil || b.Also || u.Rig == b.Rig && len(u.Positions) == 1 && lab.Fold(u.Position) == lab.Fold(b.Position) {
		return err
	}
	at, err := k.rigName(ctx, u.Rig)
	if err != nil {
		return err
	}
	fix := "Check the serial number. If it was moved from there to here, confirm it."
	if u.Rig == b.Rig && severalAxes(&u.Item.Item) {
		fix += " If another axis of the same case measures here, and it stays there too, tick that."
	}
	return clash("item", fmt.Sprintf("%s sits at %s, position %s, at this time; an item is in one place at a time.", u.Item.Item.Title(), at, u.Position), fix)
}

func (k *checker) rigName(ctx context.Context, id uuid.UUID) (string, error) {
	rig, err := k.v.Rig(ctx, k.only, id)
	if problem.Of(err) == problem.NotFound && err != nil {
		return "another rig", nil
	}
	return rig.Rig.Name, err
}

// severalAxes says that an item of this kind can measure at several positions.
func severalAxes(i *lab.Item) bool { return lab.Fold(i.Class) == lab.Fold(lab.ClassSensor) }

// anotherAxis refuses what is said to stay where it is, and is no sensor, or sits at
// another rig or nowhere.
func (k *checker) anotherAxis(ctx context.Context, b *lab.Mounting) error {
	if !b.Also {
		return nil
	}
	u, err := k.v.RamUsage(ctx, k.only, b.Item, b.EffectiveAt.Time())
	if err != nil {
		return err
	}
	switch {
	case !severalAxes(&u.Item.Item):
		return clash("also", fmt.Sprintf("%s is no sensor, and has no further axis.", u.Item.Item.Title()), "Leave the tick out. If it was moved here, confirm it.")
	case u.Rig == uuid.Nil:
		return clash("also", fmt.Sprintf("%s sits at no other position at this time.", u.Item.Item.Title()), "Leave the tick out; give it for the next position of the same case. Check the time.")
	case u.Rig != b.Rig:
		at, err := k.rigName(ctx, u.Rig)
		if err != nil {
			return err
		}
		return clash("also", fmt.Sprintf("%s sits at %s at this time; one case is at one rig.", u.Item.Item.Title(), at), "Check the serial number. If it was moved here, leave the tick out and confirm it.")
	}
	return nil
}

// correction refuses what would take a counter below zero.
func (k *checker) correction(ctx context.Context, b *lab.Correction) error {
	u, err := k.v.RamUsage(ctx, k.only, b.Item, b.EffectiveAt.Time())
	if err != nil {
		return err
	}
	if b.Strokes < 0 && (u.TotalStrokes > math.MaxInt64/2 || u.TotalStrokes+b.Strokes < 0) {
		return clash("strokes", fmt.Sprintf("The counter stood at %d strokes then; %d cannot be taken off.", u.TotalStrokes, -b.Strokes), "Check the number and the date.")
	}
	return nil
}

// identity refuses an asset number that is taken, and asks about a serial
// number that an item of another class has.
func (k *checker) identity(ctx context.Context, n *lab.Item) error {
	return EveryItem(ctx, k.v, k.only, "", func(i *view.ItemRow) error {
		if n.AssetNumber != "" && lab.Fold(i.Item.AssetNumber) == lab.Fold(n.AssetNumber) {
			return clash("asset_number", "This asset number is that of "+i.Item.Title()+".", "Check the number on the item.")
		}
		if !k.confirmed && lab.Fold(i.Item.Serial) == lab.Fold(n.Serial) && lab.Fold(i.Item.Class) != lab.Fold(n.Class) {
			return clash("serial", "The lab has "+i.Item.Title()+" ("+i.Item.Class+") with this serial number.", "Check the number and the kind; if both are right, confirm it.")
		}
		return nil
	})
}

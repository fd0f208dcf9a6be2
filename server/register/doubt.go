package register

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Confirm says that a person was shown the doubts about a fact and says that it
// is right. What cannot be right is refused all the same.
type Confirm bool

// fits holds a fact about an item against the item's history. What contradicts
// it is refused; what is only unlikely is refused until it is confirmed.
func (r *Register) fits(ctx context.Context, only scope.Scope, body lab.Body, confirmed Confirm) error {
	switch b := body.(type) {
	case *lab.Service:
		return r.service(ctx, only, b)
	case *lab.Calibration:
		return r.calibration(ctx, only, b, confirmed)
	case *lab.Mounting:
		return r.mounting(ctx, only, b)
	case *lab.Correction:
		return r.correction(ctx, only, b)
	case *lab.Item:
		return r.identity(ctx, only, b, confirmed)
	}
	return nil
}

// clash is a fact that contradicts another one.
func clash(where, what, fix string) error {
	return &problem.Error{Code: problem.Conflict, Where: where, What: what, Fix: fix}
}

func date(t lab.Time) string { return t.Time().Format(time.DateOnly) }

// service refuses a counter that runs backwards.
func (r *Register) service(ctx context.Context, only scope.Scope, b *lab.Service) error {
	if b.CounterStrokes == nil {
		return nil
	}
	all, err := r.Views.Services(ctx, only, b.Item)
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

func (r *Register) calibration(ctx context.Context, only scope.Scope, b *lab.Calibration, confirmed Confirm) error {
	i, err := r.Views.Item(ctx, only, b.Item)
	if err != nil {
		return err
	}
	all, err := r.Views.Calibrations(ctx, only, b.Item)
	if err != nil {
		return err
	}
	var before *lab.Calibration
	for j := range all { // newest first
		o := &all[j].Calibration
		if lab.Fold(o.Certificate) == lab.Fold(b.Certificate) && o.EffectiveAt == b.EffectiveAt {
			return clash("certificate", "This certificate is recorded for the item already.", "Nothing needs to be done; withdraw the other entry if that one is wrong.")
		}
		if before == nil && o.EffectiveAt <= b.EffectiveAt {
			before = o
		}
	}
	if confirmed {
		return nil
	}
	var errs []error
	for _, d := range b.Doubts(&i.Item, before) {
		errs = append(errs, clash(d.Field, d.What, d.Fix+"; if it is right as it stands, confirm it"))
	}
	return errors.Join(errs...)
}

// mounting refuses an item that is retired, or that is put at another place at
// the very same time. Mounted elsewhere before, it counts as moved.
func (r *Register) mounting(ctx context.Context, only scope.Scope, b *lab.Mounting) error {
	if b.Item == uuid.Nil {
		return nil
	}
	s, err := r.Views.StateAt(ctx, only, b.Item, b.EffectiveAt)
	if err != nil {
		return err
	}
	if s.State() == lab.StateRetired {
		return clash("item", fmt.Sprintf("The item is retired since %s (%s).", date(s.ItemState.EffectiveAt), s.ItemState.Reason),
			"Choose another item, or put this one into service again first.")
	}
	all, err := r.Views.Mountings(ctx, only, b.Item)
	if err != nil {
		return err
	}
	for i := range all {
		o := &all[i].Mounting
		if o.EffectiveAt == b.EffectiveAt && (o.Rig != b.Rig || lab.Fold(o.Position) != lab.Fold(b.Position)) {
			return clash("effective_at", fmt.Sprintf("At this very time the item was mounted at another place (position %s).", o.Position),
				"An item is in one place at a time: check which it was and when, and withdraw the other entry if that one is wrong.")
		}
	}
	return nil
}

// correction refuses what would take a counter below zero.
func (r *Register) correction(ctx context.Context, only scope.Scope, b *lab.Correction) error {
	u, err := r.Views.RamUsage(ctx, only, b.Item, b.EffectiveAt.Time())
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
func (r *Register) identity(ctx context.Context, only scope.Scope, n *lab.Item, confirmed Confirm) error {
	return r.everyItem(ctx, only, "", func(i *view.ItemRow) error {
		if n.AssetNumber != "" && lab.Fold(i.Item.AssetNumber) == lab.Fold(n.AssetNumber) {
			return clash("asset_number", "This asset number is that of "+i.Item.Title()+".", "Check the number on the item.")
		}
		if !confirmed && lab.Fold(i.Item.Serial) == lab.Fold(n.Serial) && lab.Fold(i.Item.Class) != lab.Fold(n.Class) {
			return clash("serial", "The lab has "+i.Item.Title()+" ("+i.Item.Class+") with this serial number.", "Check the number and the kind; if both are right, confirm it.")
		}
		return nil
	})
}

// everyItem calls each for the items of a class, "" for all.
func (r *Register) everyItem(ctx context.Context, only scope.Scope, class string, each func(*view.ItemRow) error) error {
	for page := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := r.Views.Items(ctx, only, class, page)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			if err := each(&list.Rows[i]); err != nil {
				return err
			}
		}
		if list.Next == "" {
			return nil
		}
		page.After = list.Next
	}
}

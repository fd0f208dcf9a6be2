package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// due is one line of what is due, with what sorts it.
type due struct {
	row  page.DueRow
	lab  record.LabID
	left int64 // days or strokes
}

// dues lists what is overdue or due soon in a scope, the worst first.
func (d *Desk) dues(ctx context.Context, names *roster.Names, sc scope.Scope) ([]due, error) {
	var all []due
	add := func(i *view.ItemRow, what string, state page.Status, left int64) error {
		if state.Level != page.Bad && state.Level != page.Warn {
			return nil
		}
		l, err := names.Lab(ctx, i.Lab)
		if err != nil || l == nil {
			return err
		}
		if at, err := d.Views.StateAt(ctx, sc, i.ID, lab.At(d.Now())); err != nil || at.State() == lab.StateRetired {
			return err
		}
		all = append(all, due{lab: l.ID, left: left, row: page.DueRow{Lab: l.Title(), Item: itemName(&i.Item), Kind: i.Item.Class,
			What: what, State: state, Href: page.PathEquipment + "?lab=" + l.ID.String() + "#item-" + i.ID.String()}})
		return nil
	}
	if err := d.calibrationsDue(ctx, sc, add); err != nil {
		return nil, err
	}
	homes, w := d.homes(names, sc), &upkeep.Watch{Read: d.Views, Scope: sc, Now: d.Now()}
	err := every(ctx, func(p view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, sc, "", p) }, func(i *view.ItemRow) error {
		also, err := homes.of(ctx, i.Lab)
		if err != nil {
			return err
		}
		u, err := w.Of(ctx, i.ID, also...)
		if err != nil {
			return err
		}
		for j := range u.Causes {
			s, _ := present.CauseWords(&u.Causes[j], d.zone)
			if err := add(&u.Item, "service", s, 0); err != nil {
				return err
			}
		}
		if !u.Planned() {
			return nil
		}
		return add(&u.Item, "service", present.ServiceDue(&u.ServiceDue, d.zone), u.Left())
	})
	slices.SortStableFunc(all, func(a, b due) int {
		return cmp.Or(-cmp.Compare(a.row.State.Level, b.row.State.Level), cmp.Compare(a.left, b.left))
	})
	return all, err
}

// calibrationsDue walks the list of calibrations, the most urgent first, down
// to the first that is neither overdue nor due soon.
func (d *Desk) calibrationsDue(ctx context.Context, sc scope.Scope, add func(*view.ItemRow, string, page.Status, int64) error) error {
	for p := (view.Page{Limit: 200}); ; {
		list, err := d.Views.SensorsDue(ctx, sc, d.Now(), p)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			r := &list.Rows[i]
			if r.Calibration.State == view.InCalibration {
				return nil
			}
			if err := add(&r.Item, "calibration", present.Calibration(&r.Calibration), r.Calibration.Days); err != nil {
				return err
			}
		}
		if list.Next == "" {
			return nil
		}
		p.After = list.Next
	}
}

// itemName is how an item is called in lists.
func itemName(i *lab.Item) string {
	if i.Name == "" {
		return i.Class + ", " + i.Serial
	}
	return i.Name + ", " + i.Serial
}

// mostRows bounds a list that a screen shows whole.
const mostRows = 20_000

// every reads a list to its end. More than mostRows are refused, never cut.
func every[T any](ctx context.Context, read func(view.Page) (view.List[T], error), each func(*T) error) error {
	p := view.Page{Limit: 500}
	for n := 0; ; {
		list, err := read(p)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			if err := each(&list.Rows[i]); err != nil {
				return err
			}
		}
		if n += len(list.Rows); list.Next == "" {
			return nil
		}
		if err := context.Cause(ctx); err != nil {
			return err
		}
		if n >= mostRows {
			return problem.New(problem.TooLarge, fmt.Sprintf("There are more than %d entries to show.", mostRows), "Look at one lab at a time, or ask the API.")
		}
		p.After = list.Next
	}
}

// notFound words what is not there, or lies outside the scope.
func notFound(what string) error {
	return problem.New(problem.NotFound, "There is no such "+what+".", "Check the address, or look it up in the list.")
}

// missing says that an error is about something that is not there.
func missing(err error) bool { return err != nil && problem.Of(err) == problem.NotFound }

// realLab gives the id of the lab that a record's lab stands for, as text.
func (d *Desk) realLab(ctx context.Context, p *caller, id record.LabID) (string, error) {
	l, err := p.names.Lab(ctx, id)
	if l == nil || err != nil {
		return "", cmp.Or(err, notFound("lab"))
	}
	return l.ID.String(), nil
}

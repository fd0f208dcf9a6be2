package register

import (
	"context"
	"time"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/server/stocklist"
	"thudbook/sync/inventory"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Stock gives a lab's register as a list, with the rows it came from.
func (r *Register) Stock(ctx context.Context, only scope.Scope, now time.Time) (have []stocklist.Have, rows []view.ItemRow, err error) {
	err = inventory.EveryItem(ctx, r.Views, only, "", func(i *view.ItemRow) error {
		s, err := r.Views.StateAt(ctx, only, i.ID, lab.At(now))
		if err != nil {
			return err
		}
		have = append(have, stocklist.Have{Item: i.Item, State: s.State(), Location: s.Location()})
		rows = append(rows, *i)
		return nil
	})
	return have, rows, err
}

// TakeList writes what a list changes in a lab's register, if that is still
// what the plan with the given digest said. The records of each id of the lab
// are written together.
func (r *Register) TakeList(ctx context.Context, p account.Principal, in roster.Place, list *stocklist.List, digest string, now time.Time) (*stocklist.Plan, error) {
	if err := MayKeep(p, in.ID); err != nil {
		return nil, err
	}
	r.one.Lock()
	defer r.one.Unlock()
	have, rows, err := r.Stock(ctx, in.Scope, now)
	if err != nil {
		return nil, err
	}
	plan, err := list.Compare(have)
	if err != nil {
		return nil, err
	}
	if plan.Digest() != digest {
		return nil, problem.New(problem.Conflict, "The register has changed since this list was checked.", "Check the list again, and look at what it changes now.")
	}
	drafts := map[record.LabID][]ledger.Draft{}
	for i := range plan.Lines {
		if err := drafted(drafts, p, in.ID, &plan.Lines[i], rows, now); err != nil {
			return nil, err
		}
	}
	// The lab's own records last: they hold the new items. Ids from before an
	// enrolment have edits only.
	for of, d := range drafts {
		if of == in.ID {
			continue
		}
		if _, err := r.Ledger.Append(ctx, of, d...); err != nil {
			return nil, err
		}
	}
	if d := drafts[in.ID]; len(d) > 0 {
		_, err = r.Ledger.Append(ctx, in.ID, d...)
	}
	return plan, err
}

// drafted adds the records of one line.
func drafted(to map[record.LabID][]ledger.Draft, p account.Principal, in record.LabID, l *stocklist.Line, rows []view.ItemRow, now time.Time) error {
	if !l.Changed() {
		return nil
	}
	add := func(of record.LabID, uid uuid.UUID, b lab.Body) error {
		kind, schema, body, err := lab.Encode(b)
		if err == nil {
			to[of] = append(to[of], ledger.Draft{Kind: kind, Schema: schema, Author: p.Author(), UID: uid, Body: body})
		}
		return err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	if l.New {
		if err := add(in, id, &l.Item); err != nil {
			return err
		}
	} else {
		row := &rows[l.At]
		id = row.ID
		for field, value := range edits(&row.Item, &l.Item) {
			e, err := lab.NewEdit(id, lab.KindItem, field, value, row.Base(field)...)
			if err != nil {
				return err
			}
			if err := add(row.Lab, id, e); err != nil {
				return err
			}
		}
	}
	if l.State == nil {
		return nil
	}
	uid, err := uuid.NewV7()
	if err != nil {
		return err
	}
	return add(in, uid, &lab.ItemState{Item: id, State: l.State.State, Location: l.State.Location, EffectiveAt: lab.At(now), Reason: "from an imported list"})
}

// edits gives the fields that differ, by their name in the record.
func edits(was, now *lab.Item) map[string]any {
	out := map[string]any{}
	differ(out, "asset_number", was.AssetNumber, now.AssetNumber)
	differ(out, "name", was.Name, now.Name)
	differ(out, "maker", was.Maker, now.Maker)
	differ(out, "model", was.Model, now.Model)
	differ(out, "service_every_strokes", was.ServiceEveryStrokes, now.ServiceEveryStrokes)
	differ(out, "service_every_days", was.ServiceEveryDays, now.ServiceEveryDays)
	differ(out, "opening_strokes", was.OpeningStrokes, now.OpeningStrokes)
	differ(out, "calibration_required", was.CalibrationRequired, now.CalibrationRequired)
	return out
}

func differ[T comparable](out map[string]any, field string, was, now T) {
	if was != now {
		out[field] = now
	}
}

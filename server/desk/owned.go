package desk

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/roster"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// ownedItem is an item of the caller's scope, and whose it is.
type ownedItem struct {
	item  view.ItemRow
	in    roster.Place // its lab, with all ids of it
	title string       // of the lab
}

// homes gives all ids of the lab of a record, each lab looked up once.
type homes struct {
	d     *Desk
	names *roster.Names
	sc    scope.Scope
	known map[record.LabID][]record.LabID
}

func (d *Desk) homes(names *roster.Names, sc scope.Scope) *homes {
	return &homes{d: d, names: names, sc: sc, known: map[record.LabID][]record.LabID{}}
}

// of is empty for a lab outside the scope.
func (h *homes) of(ctx context.Context, id record.LabID) ([]record.LabID, error) {
	if all, ok := h.known[id]; ok {
		return all, nil
	}
	l, err := h.names.Lab(ctx, id)
	if l == nil || err != nil {
		return nil, err
	}
	in, err := h.d.Roster.Find(ctx, h.sc, l.ID.String())
	h.known[id] = in.IDs
	return in.IDs, err
}

func (d *Desk) ownedItem(ctx context.Context, p *caller, id uuid.UUID) (o ownedItem, err error) {
	if o.item, err = d.Views.Item(ctx, p.Scope, id); err != nil {
		return o, err
	}
	text, err := d.realLab(ctx, p, o.item.Lab)
	if err != nil {
		return o, err
	}
	if o.in, err = d.Roster.Find(ctx, p.Scope, text); err != nil {
		return o, err
	}
	o.title, err = p.names.Of(ctx, o.item.Lab)
	return o, err
}

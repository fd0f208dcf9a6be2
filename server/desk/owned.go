package desk

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/roster"
	"thudbook/sync/view"
)

// ownedItem is an item of the caller's scope, and whose it is.
type ownedItem struct {
	item  view.ItemRow
	in    roster.Place // its lab, with all ids of it
	title string       // of the lab
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

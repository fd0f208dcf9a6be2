package inventory

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// known refuses a fact about an item or rig that the lab does not have, and a
// serial number or campaign's name that it has already.
func (k *checker) known(ctx context.Context, body lab.Body) error {
	switch b := body.(type) {
	case *lab.Service:
		return k.item(ctx, b.Item)
	case *lab.WorkOrder:
		return k.item(ctx, b.Item)
	case *lab.Calibration:
		return k.item(ctx, b.Item)
	case *lab.ItemState:
		return k.item(ctx, b.Item)
	case *lab.Correction:
		return k.item(ctx, b.Item)
	case *lab.CheckLimits:
		return k.rig(ctx, b.Rig)
	case *lab.Absent:
		return k.rig(ctx, b.Rig)
	case *lab.Rated:
		return k.rig(ctx, b.Rig)
	case *lab.Booking:
		return k.rig(ctx, b.Rig)
	case *lab.Mounting:
		if err := k.rig(ctx, b.Rig); err != nil || b.Item == uuid.Nil {
			return err
		}
		return k.item(ctx, b.Item)
	case *lab.Item:
		return k.newSerial(ctx, b)
	case *lab.Campaign:
		if b.Rig != nil {
			if err := k.rig(ctx, *b.Rig); err != nil {
				return err
			}
		}
		return k.newCampaign(ctx, b)
	}
	return nil
}

func (k *checker) item(ctx context.Context, id uuid.UUID) error {
	_, err := k.v.Item(ctx, k.only, id)
	return unknown(err, "item", "The lab has no such item.", "Choose an item of this lab, or enter it first.")
}

func (k *checker) rig(ctx context.Context, id uuid.UUID) error {
	_, err := k.v.Rig(ctx, k.only, id)
	return unknown(err, "rig", "The lab has no such rig.", "A rig appears once its agent has reached the server.")
}

// unknown words a missing reference as a fault of the field that names it.
func unknown(err error, field, what, fix string) error {
	if problem.Of(err) != problem.NotFound {
		return err
	}
	return &problem.Error{Code: problem.Invalid, What: what, Where: field, Fix: fix, Err: err}
}

func (k *checker) newSerial(ctx context.Context, n *lab.Item) error {
	return EveryItem(ctx, k.v, k.only, n.Class, func(i *view.ItemRow) error {
		if lab.Fold(i.Item.Serial) != lab.Fold(n.Serial) {
			return nil
		}
		return &problem.Error{Code: problem.Conflict, Where: "serial",
			What: "The lab has a " + n.Class + " with this serial number already.",
			Fix:  "Use that entry, or check the number on the item."}
	})
}

func (k *checker) newCampaign(ctx context.Context, n *lab.Campaign) error {
	for page := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := k.v.Campaigns(ctx, k.only, page)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			if lab.Fold(list.Rows[i].Campaign.Name) == lab.Fold(n.Name) {
				return &problem.Error{Code: problem.Conflict, Where: "name", What: "The lab has a campaign of this name already.", Fix: "Choose another name."}
			}
		}
		if list.Next == "" {
			return nil
		}
		page.After = list.Next
	}
}

// Package register writes the facts that people state on the server: labs,
// equipment, mountings, services, calibrations, campaigns. It is the one place
// that decides who may write what.
package register

import (
	"context"
	"sync"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Register appends facts to the server's own origin of a lab.
type Register struct {
	Ledger *ledger.Ledger
	Views  *view.Reader

	one sync.Mutex // looking up and writing are one step
}

// NewLab makes a lab and gives its id. Only an administrator may.
func (r *Register) NewLab(ctx context.Context, p account.Principal, name string) (record.LabID, error) {
	if !p.Administrator {
		return record.LabID{}, problem.New(problem.Forbidden, "Only an administrator of the server can make a lab.", "Ask one.")
	}
	r.one.Lock()
	defer r.one.Unlock()
	labs, err := r.Views.Labs(ctx, scope.All(), view.MaxLimit)
	if err != nil {
		return record.LabID{}, err
	}
	for i := range labs {
		if lab.Fold(labs[i].Name) == lab.Fold(name) {
			e := problem.New(problem.Conflict, "There is a lab of this name already.", "Choose another name.")
			e.Where = "name"
			return record.LabID{}, e
		}
	}
	id, err := uuid.NewV7()
	if err != nil {
		return record.LabID{}, err
	}
	return id, r.write(ctx, p, id, id, &lab.Named{Name: name})
}

// MayKeep refuses a person whose role does not let them change a lab.
func MayKeep(p account.Principal, in record.LabID) error {
	if p.MayKeep(in) {
		return nil
	}
	return problem.New(problem.Forbidden, "Your role in this lab does not let you change it.", "Ask the lab's manager.")
}

// Record writes one fact of a lab and gives the id of the new document.
func (r *Register) Record(ctx context.Context, p account.Principal, in roster.Place, body lab.Body) (uuid.UUID, error) {
	return r.RecordConfirmed(ctx, p, in, body, false)
}

// RecordConfirmed is Record with the word of a person that what looks doubtful
// about the fact is right.
func (r *Register) RecordConfirmed(ctx context.Context, p account.Principal, in roster.Place, body lab.Body, confirmed Confirm) (uuid.UUID, error) {
	if err := MayKeep(p, in.ID); err != nil {
		return uuid.Nil, err
	}
	if err := body.Validate(); err != nil {
		return uuid.Nil, err
	}
	r.one.Lock()
	defer r.one.Unlock()
	if err := r.known(ctx, in.Scope, body); err != nil {
		return uuid.Nil, err
	}
	if err := r.fits(ctx, in.Scope, body, confirmed); err != nil {
		return uuid.Nil, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return uuid.Nil, err
	}
	return id, r.write(ctx, p, in.ID, id, body)
}

func (r *Register) write(ctx context.Context, p account.Principal, in record.LabID, id uuid.UUID, b lab.Body) error {
	kind, schema, body, err := lab.Encode(b)
	if err != nil {
		return err
	}
	_, err = r.Ledger.Append(ctx, in, ledger.Draft{Kind: kind, Schema: schema, Author: p.Author(), UID: id, Body: body})
	return err
}

// known refuses a fact about an item or rig that the lab does not have, and a
// serial number or campaign's name that it has already.
func (r *Register) known(ctx context.Context, only scope.Scope, body lab.Body) error {
	switch b := body.(type) {
	case *lab.Service:
		return r.item(ctx, only, b.Item)
	case *lab.Calibration:
		return r.item(ctx, only, b.Item)
	case *lab.ItemState:
		return r.item(ctx, only, b.Item)
	case *lab.Correction:
		return r.item(ctx, only, b.Item)
	case *lab.Mounting:
		if err := r.rig(ctx, only, b.Rig); err != nil || b.Item == uuid.Nil {
			return err
		}
		return r.item(ctx, only, b.Item)
	case *lab.Item:
		return r.newSerial(ctx, only, b)
	case *lab.Campaign:
		return r.newCampaign(ctx, only, b)
	}
	return nil
}

func (r *Register) item(ctx context.Context, only scope.Scope, id uuid.UUID) error {
	_, err := r.Views.Item(ctx, only, id)
	return unknown(err, "item", "The lab has no such item.", "Choose an item of this lab, or enter it first.")
}

func (r *Register) rig(ctx context.Context, only scope.Scope, id uuid.UUID) error {
	_, err := r.Views.Rig(ctx, only, id)
	return unknown(err, "rig", "The lab has no such rig.", "A rig appears once its agent has reached the server.")
}

// unknown words a missing reference as a fault of the field that names it.
func unknown(err error, field, what, fix string) error {
	if problem.Of(err) != problem.NotFound {
		return err
	}
	return &problem.Error{Code: problem.Invalid, What: what, Where: field, Fix: fix, Err: err}
}

func (r *Register) newSerial(ctx context.Context, only scope.Scope, n *lab.Item) error {
	return r.everyItem(ctx, only, n.Class, func(i *view.ItemRow) error {
		if lab.Fold(i.Item.Serial) != lab.Fold(n.Serial) {
			return nil
		}
		return &problem.Error{Code: problem.Conflict, Where: "serial",
			What: "The lab has a " + n.Class + " with this serial number already.",
			Fix:  "Use that entry, or check the number on the item."}
	})
}

func (r *Register) newCampaign(ctx context.Context, only scope.Scope, n *lab.Campaign) error {
	for page := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := r.Views.Campaigns(ctx, only, page)
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

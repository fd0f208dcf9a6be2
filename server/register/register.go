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
	"thudbook/sync/inventory"
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

// NewLab makes a lab and gives its id. was is the id of a lab whose server is
// lost, so that what its agents still hold belongs to it; the zero id: a new
// one. Only an administrator may.
func (r *Register) NewLab(ctx context.Context, p account.Principal, name string, was record.LabID) (record.LabID, error) {
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
		if labs[i].Lab == was {
			e := problem.New(problem.Conflict, "A lab of this identity is here already.", "Leave the identity empty to make another lab.")
			e.Where = "id"
			return record.LabID{}, e
		}
	}
	id := was
	if id == (record.LabID{}) {
		if id, err = uuid.NewV7(); err != nil {
			return record.LabID{}, err
		}
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
func (r *Register) RecordConfirmed(ctx context.Context, p account.Principal, in roster.Place, body lab.Body, confirmed inventory.Confirm) (uuid.UUID, error) {
	if err := MayKeep(p, in.ID); err != nil {
		return uuid.Nil, err
	}
	return inventory.Record(ctx, r.Ledger, r.Views, in.Scope, inventory.Fact{Lab: in.ID, Author: p.Author(), Body: body, Confirmed: confirmed})
}

func (r *Register) write(ctx context.Context, p account.Principal, in record.LabID, id uuid.UUID, b lab.Body) error {
	kind, schema, body, err := lab.Encode(b)
	if err != nil {
		return err
	}
	_, err = r.Ledger.Append(ctx, in, ledger.Draft{Kind: kind, Schema: schema, Author: p.Author(), UID: id, Body: body})
	return err
}

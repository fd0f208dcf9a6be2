package intake

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/inventory"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// State writes what a person stated at the rig, one fact or several of one lab at
// once, after holding it against the register; see Record. It gives the id of the
// last document. What is refused is a problem, or several joined; nothing is
// written then.
func (in *Intake) State(ctx context.Context, facts ...inventory.Fact) (id uuid.UUID, err error) {
	_, err = in.Record(ctx, facts[0].Lab, func(tx kv.Tx) (drafts []ledger.Draft, err error) {
		for _, f := range facts {
			d, err := inventory.Draft(ctx, view.Within(in.opt.Views.Reader(in.opt.Store), tx), scope.All(), f)
			if err != nil {
				return nil, err
			}
			id, drafts = d.UID, append(drafts, d)
		}
		return drafts, nil
	})
	return id, err
}

// Rig is the id of the rig that shots are recorded for.
func (in *Intake) Rig() uuid.UUID { return in.opt.Rig }

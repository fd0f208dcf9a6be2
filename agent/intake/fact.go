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

// State writes a fact that a person stated at the rig, after holding it against
// the register; see Record. It gives the id of the document. What is refused is
// a problem, or several joined.
func (in *Intake) State(ctx context.Context, f inventory.Fact) (id uuid.UUID, err error) {
	_, err = in.Record(ctx, f.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		d, err := inventory.Draft(ctx, view.Within(in.opt.Views.Reader(in.opt.Store), tx), scope.All(), f)
		id = d.UID
		return []ledger.Draft{d}, err
	})
	return id, err
}

// Rig is the id of the rig that shots are recorded for.
func (in *Intake) Rig() uuid.UUID { return in.opt.Rig }

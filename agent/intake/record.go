package intake

import (
	"context"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// Record writes what a person says at the rig, in one transaction: do sees what
// is committed, and may write tables of its own. The zero lab is the one that
// the agent writes for now. It gives how many records were written; while the
// store cannot be written, nothing is recorded, and the error says so.
func (in *Intake) Record(ctx context.Context, of record.LabID, do func(kv.Tx) ([]ledger.Draft, error)) (int, error) {
	if of == (record.LabID{}) {
		of = in.opt.Lab()
	}
	recs, err := in.opt.Ledger.AppendWith(ctx, of, do)
	switch {
	case err == nil && len(recs) > 0:
		in.recorded()
	case err != nil:
		return 0, in.appendFailed(ctx, err)
	}
	return len(recs), err
}

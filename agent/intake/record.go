package intake

import (
	"context"
	"errors"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Record writes what a person says at the rig, in one transaction: do sees what
// is committed, and may write tables of its own. The zero lab is the one that
// the agent writes for now. It gives how many records were written; a store that
// can no longer be written stops the agent, as it does for shots.
func (in *Intake) Record(ctx context.Context, of record.LabID, do func(kv.Tx) ([]ledger.Draft, error)) (int, error) {
	if of == (record.LabID{}) {
		of = in.opt.Lab()
	}
	recs, err := in.opt.Ledger.AppendWith(ctx, of, do)
	switch {
	case err == nil && len(recs) > 0:
		in.recorded()
	case err != nil && (errors.Is(err, kv.ErrUnknown) || problem.Of(err) == problem.Unavailable || problem.Of(err) == problem.Damaged):
		p := &problem.Error{Code: problem.Unavailable, What: "The store could not be written; what was entered is not recorded.",
			Fix: "Keep this page open. Check the disk, then start the agent anew and send it again.", Err: err}
		in.setBroken(p)
		return 0, p
	}
	return len(recs), err
}

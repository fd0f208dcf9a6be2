package register

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// Score records another result of a shot, beside those that it has.
func (r *Register) Score(ctx context.Context, p account.Principal, in record.LabID, shot *view.ShotRow, b *lab.Score) error {
	if err := MayKeep(p, in); err != nil {
		return err
	}
	return r.write(ctx, p, shot.Lab, shot.ID, b)
}

// Withdraw says that a fact of a lab was a mistake, and why. of is the lab that
// the fact's record was written for.
func (r *Register) Withdraw(ctx context.Context, p account.Principal, in, of record.LabID, id uuid.UUID, kind record.Kind, reason string) error {
	if err := MayKeep(p, in); err != nil {
		return err
	}
	k, schema, body, err := lab.Encode(&lab.Withdrawn{Doc: id, DocKind: kind, Reason: reason})
	if err != nil {
		return err
	}
	_, err = r.Ledger.Append(ctx, of, ledger.Draft{Kind: k, Schema: schema, Author: p.Author(), UID: id, Body: body})
	return err
}

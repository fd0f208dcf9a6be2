package register

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Result is a new result of a shot.
type Result struct {
	Shot  *view.ShotRow
	Score *lab.Score
}

// Scores records further results of shots, beside those that they have. Those of
// one lab id are durable together, or none is.
func (r *Register) Scores(ctx context.Context, p account.Principal, in record.LabID, results []Result) error {
	if err := MayKeep(p, in); err != nil {
		return err
	}
	var order []record.LabID
	drafts := map[record.LabID][]ledger.Draft{}
	for i := range results {
		x := &results[i]
		kind, schema, body, err := lab.Encode(x.Score)
		if err != nil {
			return err
		}
		of := x.Shot.Lab
		if drafts[of] == nil {
			order = append(order, of)
		}
		drafts[of] = append(drafts[of], ledger.Draft{Kind: kind, Schema: schema, Author: p.Author(), UID: x.Shot.ID, Body: body})
	}
	for _, of := range order {
		if _, err := r.Ledger.Append(ctx, of, drafts[of]...); err != nil {
			return err
		}
	}
	return nil
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

// Document records a file about an item of a lab, whose bytes the lab holds
// already. The same file about the same is recorded once; one that was taken off
// comes back.
func (r *Register) Document(ctx context.Context, p account.Principal, in record.LabID, b *lab.Document, a record.Attachment) error {
	if err := MayKeep(p, in); err != nil {
		return err
	}
	id := lab.DocumentOf(b.Item, b.Calibration, b.SHA256)
	_, err := r.Ledger.AppendWith(ctx, in, func(tx kv.Tx) ([]ledger.Draft, error) {
		was, err := view.Within(r.Views, tx).Document(ctx, scope.Labs(in), id)
		var body lab.Body = b
		d := ledger.Draft{Author: p.Author(), UID: id, Attachments: []record.Attachment{a}}
		switch {
		case problem.Of(err) == problem.NotFound && err != nil:
		case err != nil:
			return nil, err
		case was.Withdrawn == nil:
			return nil, nil
		default:
			body, d.Attachments = &lab.Withdrawn{Doc: id, DocKind: lab.KindDocument, Reason: "added again", Lifted: true}, nil
		}
		d.Kind, d.Schema, d.Body, err = lab.Encode(body)
		return []ledger.Draft{d}, err
	})
	return err
}

package register

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// When is where and when a campaign is to be fired; the zero value says nothing.
type When struct {
	Rig      *uuid.UUID
	StartsAt lab.Time
	EndsAt   lab.Time
}

// PlanCampaign sets where and when a campaign is to be fired. What is already so
// is not written again, and a field that has two values is settled. The two
// dates are written together, so that a span is never half of one site and half
// of another.
func (r *Register) PlanCampaign(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, next When, still Still) error {
	return r.editCampaign(ctx, p, in, id, still, func(v *view.Reader, row *view.CampaignRow, e *fieldEdits) error {
		if next.Rig != nil {
			if _, err := v.Rig(ctx, in.Scope, *next.Rig); problem.Of(err) == problem.NotFound {
				return &problem.Error{Code: problem.NotFound, Where: "rig", What: "The lab has no such rig.", Fix: "Choose one of the list; a rig is listed once its agent has reached this server.", Err: err}
			} else if err != nil {
				return err
			}
		}
		b := &row.Campaign
		replace(e, "rig", &b.Rig, next.Rig, func(a, b *uuid.UUID) bool { return a == b || a != nil && b != nil && *a == *b })
		stays := b.StartsAt == next.StartsAt && b.EndsAt == next.EndsAt && len(row.Edited["starts_at"].Others)+len(row.Edited["ends_at"].Others) == 0
		both := func(lab.Time, lab.Time) bool { return stays }
		replace(e, "starts_at", &b.StartsAt, next.StartsAt, both)
		replace(e, "ends_at", &b.EndsAt, next.EndsAt, both)
		return nil
	})
}

// editCampaign changes fields of a campaign in one transaction, where it is still
// what the person saw and stays a valid one.
func (r *Register) editCampaign(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, still Still, change func(*view.Reader, *view.CampaignRow, *fieldEdits) error) error {
	if err := MayKeep(p, in.ID); err != nil {
		return err
	}
	row, err := r.Views.Campaign(ctx, in.Scope, id)
	if err != nil {
		return err
	}
	_, err = r.Ledger.AppendWith(ctx, row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		v := view.Within(r.Views, tx)
		row, err := v.Campaign(ctx, in.Scope, id)
		if err != nil {
			return nil, err
		}
		if err := still.holds(&row.Head); err != nil {
			return nil, err
		}
		e := fieldEdits{author: p.Author(), doc: id, kind: lab.KindCampaign, head: &row.Head}
		if err := change(v, &row, &e); err != nil {
			return nil, err
		}
		return e.drafts(row.Campaign.Validate())
	})
	return err
}

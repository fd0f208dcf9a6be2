package register

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// Limits are what the shots of a campaign are held against.
type Limits struct {
	Acceptance        []lab.Limit
	Inspection        []lab.InspectionLimit
	FaceContactFails  bool
	MostOutOfChamberS float64 // 0: any time
	LeastRestS        float64 // 0: none
}

// LimitsOf gives those of a campaign.
func LimitsOf(b *lab.Campaign) Limits {
	return Limits{Acceptance: b.AcceptanceLimits, Inspection: b.InspectionLimits, FaceContactFails: b.FaceContactFails, MostOutOfChamberS: b.MostOutOfChamberS, LeastRestS: b.LeastRestS}
}

// LimitCampaign sets what the shots of a campaign are held against. What is
// already so is not written again, and a field that has two values is settled.
// still says whether the limits are those that the person saw.
func (r *Register) LimitCampaign(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, next Limits, still func(Limits) bool) error {
	if err := MayKeep(p, in.ID); err != nil {
		return err
	}
	row, err := r.Views.Campaign(ctx, in.Scope, id)
	if err != nil {
		return err
	}
	_, err = r.Ledger.AppendWith(ctx, row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		row, err := view.Within(r.Views, tx).Campaign(ctx, in.Scope, id)
		if err != nil {
			return nil, err
		}
		b := row.Campaign
		if !still(LimitsOf(&b)) {
			return nil, problem.New(problem.Conflict, "Somebody else changed the limits while the page was open; nothing was saved.", "Look at what holds now above, then save again if yours is to hold.")
		}
		e := fieldEdits{author: p.Author(), doc: id, kind: lab.KindCampaign, head: &row.Head}
		replace(&e, "acceptance_limits", &b.AcceptanceLimits, next.Acceptance, slices.Equal[[]lab.Limit])
		replace(&e, "inspection_limits", &b.InspectionLimits, next.Inspection, func(x, y []lab.InspectionLimit) bool {
			return slices.EqualFunc(x, y, sameInspectionLimit)
		})
		replace(&e, "face_contact_fails", &b.FaceContactFails, next.FaceContactFails, func(x, y bool) bool { return x == y })
		seconds := func(x, y float64) bool { return x == y }
		replace(&e, "most_out_of_chamber_s", &b.MostOutOfChamberS, next.MostOutOfChamberS, seconds)
		replace(&e, "least_rest_s", &b.LeastRestS, next.LeastRestS, seconds)
		return e.drafts(b.Validate())
	})
	return err
}

func sameInspectionLimit(a, b lab.InspectionLimit) bool {
	mm := a.MostMM == b.MostMM || a.MostMM != nil && b.MostMM != nil && *a.MostMM == *b.MostMM
	return mm && a.Element == b.Element && a.Worst == b.Worst && a.Source == b.Source
}

package register

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/lab"
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

// LimitCampaign sets what the shots of a campaign are held against. What is
// already so is not written again, and a field that has two values is settled.
func (r *Register) LimitCampaign(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, next Limits, still Still) error {
	return r.editCampaign(ctx, p, in, id, still, func(_ *view.Reader, row *view.CampaignRow, e *fieldEdits) error {
		b := &row.Campaign
		replace(e, "acceptance_limits", &b.AcceptanceLimits, next.Acceptance, slices.Equal[[]lab.Limit])
		replace(e, "inspection_limits", &b.InspectionLimits, next.Inspection, func(x, y []lab.InspectionLimit) bool {
			return slices.EqualFunc(x, y, sameInspectionLimit)
		})
		set(e, "face_contact_fails", &b.FaceContactFails, next.FaceContactFails)
		set(e, "most_out_of_chamber_s", &b.MostOutOfChamberS, next.MostOutOfChamberS)
		set(e, "least_rest_s", &b.LeastRestS, next.LeastRestS)
		return nil
	})
}

func sameInspectionLimit(a, b lab.InspectionLimit) bool {
	mm := a.MostMM == b.MostMM || a.MostMM != nil && b.MostMM != nil && *a.MostMM == *b.MostMM
	return mm && a.Element == b.Element && a.Worst == b.Worst && a.Source == b.Source
}

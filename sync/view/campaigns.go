package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// Campaigns lists campaigns by name, without withdrawn ones.
func (v *Reader) Campaigns(ctx context.Context, sc scope.Scope, page Page) (List[CampaignRow], error) {
	return list(ctx, v, sc, byNames(v.set.campaigns, campaignNames), page, campaignRow)
}

func campaignRow(d *doc[lab.Campaign]) CampaignRow {
	return CampaignRow{Head: d.head(), Campaign: *d.body()}
}

// Campaign gives one campaign.
func (v *Reader) Campaign(ctx context.Context, sc scope.Scope, id uuid.UUID) (CampaignRow, error) {
	d, err := get(ctx, v, v.set.campaigns, sc, lab.KindCampaign, id)
	if err != nil {
		return CampaignRow{}, err
	}
	return campaignRow(d), nil
}

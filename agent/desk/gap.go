package desk

import (
	"context"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// missing names what a planned hit lacks, "" where nothing is to ask: it is not
// planned, void, not scored yet, or complete.
func (d *Desk) missing(ctx context.Context, row *view.ShotRow, scores []view.ScoreRow) (string, error) {
	if row.Void() || row.Shot.Kind != lab.ShotHit || !row.Shot.Assigned() || len(scores) == 0 {
		return "", nil
	}
	with, err := present.CampaignsWith(ctx, d.read, d.scope(), row.Shot.Specimen)
	for i := range with {
		if cell := cellIn(with[i].Campaign.Cells, &row.Shot.Meta); cell != nil {
			return present.Gap(row, &scores[0].Score, cell), err
		}
	}
	return "", err
}

// gap asks whether a planned hit that lacks a channel is kept, nil when nothing is
// to ask.
func (d *Desk) gap(ctx context.Context, row *view.ShotRow, scores []view.ScoreRow) (*page.Gap, error) {
	what, err := d.missing(ctx, row, scores)
	if what == "" || err != nil {
		return nil, err
	}
	id := row.ID.String()
	return &page.Gap{Missing: what,
		Keep: page.Form{ID: "primary", Action: page.PostAccept, Submit: "Keep the shot", Hidden: map[string]string{"shot": id}},
		Void: page.Form{Action: page.PostVoid, Submit: "Void it, back in the order", Hidden: map[string]string{"shot": id, page.SeenField: amend.Seen(row), "reason": "missing: " + what, acceptedField: acceptedSeen(nil)}},
	}, nil
}

// openGap is gap for a shot that nobody has accepted.
func (d *Desk) openGap(ctx context.Context, row *view.ShotRow, scores []view.ScoreRow) (*page.Gap, error) {
	if a, err := d.read.Accepted(ctx, d.scope(), row.ID); a.Of(row) || err != nil {
		return nil, err
	}
	return d.gap(ctx, row, scores)
}

// gapNotices lists the planned hits of this rig that lack a channel, and of which
// nobody has said whether they are kept: of the newest view.MaxLimit with a gap.
func (d *Desk) gapNotices(ctx context.Context) (out []page.Notice, err error) {
	list, err := d.read.Incomplete(ctx, d.scope(), view.Page{Limit: view.MaxLimit})
	if err != nil {
		return nil, err
	}
	for i := range list.Rows {
		row := &list.Rows[i]
		if row.Shot.Rig != d.Intake.Rig() {
			continue
		}
		if a, err := d.read.Accepted(ctx, d.scope(), row.ID); err != nil {
			return nil, err
		} else if a.Of(row) {
			continue
		}
		scores, err := d.read.Scores(ctx, d.scope(), row.ID)
		if err != nil {
			return nil, err
		}
		what, err := d.missing(ctx, row, scores)
		if err != nil {
			return nil, err
		}
		if what != "" {
			out = append(out, page.Notice{Level: page.Warn, Text: "The shot on " + present.HitOf(row) + " lacks " + what + ", and nobody has said whether it is kept.",
				Link: "Keep it, or void it", Href: page.ShotPath(row.ID.String()) + "#gap"})
		}
	}
	return out, nil
}

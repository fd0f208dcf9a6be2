package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
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

// CellProgress is how far one specimen is in one cell. Done and OffSpeed are
// hits that stand; a hit without a known speed is Done and NoSpeed.
type CellProgress struct {
	Specimen string
	Cell     lab.Cell
	Planned  int64
	Done     int64 // within the tolerance, or not judged
	OffSpeed int64 // outside it
	NoSpeed  int64 // of Done, those whose speed is not known
	Void     int64
}

// Left is how many hits are still to do.
func (c *CellProgress) Left() int64 { return max(0, c.Planned-c.Done) }

func (c *CellProgress) add(o CellProgress) {
	c.Planned += o.Planned
	c.Done += min(o.Done, o.Planned)
	c.OffSpeed += o.OffSpeed
	c.NoSpeed += o.NoSpeed
	c.Void += o.Void
}

// Progress is how far a campaign is.
type Progress struct {
	Campaign CampaignRow
	Cells    []CellProgress // specimens in their order, each with the cells in theirs
	ByCell   []CellProgress // the cells, summed over the specimens; Specimen is ""
	Total    CellProgress   // hits beyond the plan of a cell are not Done here and in ByCell
}

// CampaignProgress counts the hits of a campaign's lab by specimen and cell:
// location, condition and target speed must be the cell's. also names further
// ids under which the same lab once wrote; those outside the scope are ignored.
func (v *Reader) CampaignProgress(ctx context.Context, sc scope.Scope, id uuid.UUID, also ...record.LabID) (p Progress, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.campaigns, sc, id)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindCampaign, id)
		}
		p = Progress{Campaign: campaignRow(d)}
		labs, _ := sc.Only(append(also, d.Lab)...).List()
		return v.set.progress(r, labs, d.body(), &p)
	})
	return p, err
}

func (s *Set) progress(r kv.Reader, labs []record.LabID, c *lab.Campaign, p *Progress) error {
	p.ByCell = make([]CellProgress, len(c.Cells))
	for i := range c.Cells {
		p.ByCell[i].Cell = c.Cells[i]
	}
	for _, specimen := range c.Specimens {
		for i := range c.Cells {
			x := CellProgress{Specimen: specimen, Cell: c.Cells[i], Planned: int64(c.Cells[i].Planned)}
			for _, id := range labs {
				if err := s.cell(r, id, &x); err != nil {
					return err
				}
			}
			p.Cells = append(p.Cells, x)
			p.ByCell[i].add(x)
			p.Total.add(x)
		}
	}
	return nil
}

// cell adds what one lab has in a cell.
func (s *Set) cell(r kv.Reader, id record.LabID, x *CellProgress) error {
	key := cellPrefix(id, x.Specimen, x.Cell.Location, x.Cell.Condition, x.Cell.TargetSpeedMS)
	lo, hi := uint32(0), uint32(noSpeed-1)
	if x.Cell.ToleranceMS > 0 {
		target, tolerance := lab.MillimetresPerSecond(x.Cell.TargetSpeedMS), lab.MillimetresPerSecond(x.Cell.ToleranceMS)
		lo, hi = target-min(target, tolerance), target+tolerance
	}
	for c, err := range s.shots.ScanTally(r, perCell, key, kv.PrefixEnd(key), false) {
		if err != nil {
			return err
		}
		switch speed := be32(c.Key[len(key):]); {
		case speed == noSpeed:
			x.NoSpeed += c.N
			x.Done += c.N
		case speed >= lo && speed <= hi:
			x.Done += c.N
		default:
			x.OffSpeed += c.N
		}
	}
	n, err := s.shots.Count(r, perVoidCell, key)
	x.Void += n
	return err
}

func be32(b []byte) (n uint32) {
	for _, c := range b[:min(4, len(b))] {
		n = n<<8 | uint32(c)
	}
	return n
}

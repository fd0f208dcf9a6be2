package view

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

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
	Outside  []Outside      // hits on the specimens that no cell counts
}

// Outside is hits that stand, on a specimen of a campaign, and that no cell of
// its plan counts. Texts are folded (see lab.Fold).
type Outside struct {
	Specimen      string
	Location      string
	Condition     string
	TargetSpeedMS *float64 // nil: not recorded
	N             int64
	Why           Mismatch
}

// Mismatch says what of a hit is not in the plan: the first that is not.
type Mismatch string

// The reasons for which no cell counts a hit.
const (
	NoLocation     Mismatch = "no location recorded"
	OtherLocation  Mismatch = "location not in the plan"
	NoTarget       Mismatch = "no target speed recorded"
	OtherTarget    Mismatch = "target speed not in the plan"
	NoCondition    Mismatch = "no condition recorded"
	OtherCondition Mismatch = "condition not in the plan"
)

// CampaignProgress counts the hits of a campaign's lab by specimen and cell:
// location, condition and target speed must be the cell's. A cell without a
// condition takes hits in every condition that no other cell of its location
// and target speed names. also names further ids under which the same lab once
// wrote; those outside the scope are ignored.
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
		cells := make([]CellProgress, len(c.Cells))
		for i := range c.Cells {
			cells[i] = CellProgress{Specimen: specimen, Cell: c.Cells[i], Planned: int64(c.Cells[i].Planned)}
		}
		t := tallied{plan: c.Cells, cells: cells, specimen: specimen}
		for _, id := range labs {
			if err := s.specimen(r, id, &t); err != nil {
				return err
			}
		}
		for i := range cells {
			p.ByCell[i].add(cells[i])
			p.Total.add(cells[i])
		}
		p.Cells, p.Outside = append(p.Cells, cells...), append(p.Outside, t.outside...)
	}
	return nil
}

// tallied is what was done on one specimen.
type tallied struct {
	plan     []lab.Cell
	specimen string
	cells    []CellProgress // as plan
	outside  []Outside
}

// specimen adds what one lab has of a specimen.
func (s *Set) specimen(r kv.Reader, id record.LabID, t *tallied) error {
	prefix := kv.Join(id[:], kv.Str(lab.Fold(t.specimen)))
	for c, err := range s.shots.ScanTally(r, perCell, prefix, kv.PrefixEnd(prefix), false) {
		if err != nil {
			return err
		}
		k, speed, err := parseCell(c.Key[len(prefix):])
		if err != nil {
			return err
		}
		t.stands(k, be32(speed), c.N)
	}
	for c, err := range s.shots.ScanTally(r, perVoidCell, prefix, kv.PrefixEnd(prefix), false) {
		if err != nil {
			return err
		}
		k, _, err := parseCell(c.Key[len(prefix):])
		if err != nil {
			return err
		}
		if i, _ := k.in(t.plan); i >= 0 {
			t.cells[i].Void += c.N
		}
	}
	return nil
}

// stands adds hits that stand, all of one cell and speed.
func (t *tallied) stands(k cellKey, speed uint32, n int64) {
	i, why := k.in(t.plan)
	if i < 0 {
		t.notInPlan(k, n, why)
		return
	}
	x := &t.cells[i]
	switch {
	case speed == noSpeed:
		x.NoSpeed += n
		x.Done += n
	case x.Cell.Within(speed):
		x.Done += n
	default:
		x.OffSpeed += n
	}
}

func (t *tallied) notInPlan(k cellKey, n int64, why Mismatch) {
	o := Outside{Specimen: t.specimen, Location: k.location, Condition: k.condition, N: n, Why: why}
	if k.target != noTarget {
		o.TargetSpeedMS = new(float64(k.target) / 1000)
	}
	at := slices.IndexFunc(t.outside, func(x Outside) bool {
		return x.Location == o.Location && x.Condition == o.Condition && cmp.Compare(speedOr0(x.TargetSpeedMS), speedOr0(o.TargetSpeedMS)) == 0
	})
	if at >= 0 {
		t.outside[at].N += n
		return
	}
	t.outside = append(t.outside, o)
}

func speedOr0(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

// cellKey is what of a hit decides on its cell.
type cellKey struct {
	location, condition string // folded
	target              uint32 // mm/s
}

// parseCell reads the part of a tally's key behind lab and specimen.
func parseCell(key []byte) (k cellKey, rest []byte, err error) {
	if k.location, key, err = kv.CutStr(key); err != nil {
		return k, nil, err
	}
	if k.condition, key, err = kv.CutStr(key); err != nil {
		return k, nil, err
	}
	k.target = be32(key)
	return k, key[min(4, len(key)):], nil
}

// in finds the cell that counts the hit: the one that names its condition, or
// else the one that names none. Without one it is -1, and why.
func (k cellKey) in(plan []lab.Cell) (int, Mismatch) {
	anyCondition, location, target := -1, false, false
	for i := range plan {
		x := &plan[i]
		if lab.Fold(x.Location) != k.location {
			continue
		}
		location = true
		if lab.MillimetresPerSecond(x.TargetSpeedMS) != k.target {
			continue
		}
		target = true
		switch lab.Fold(x.Condition) {
		case k.condition:
			return i, ""
		case "":
			anyCondition = i
		}
	}
	switch {
	case anyCondition >= 0:
		return anyCondition, ""
	case k.location == "":
		return -1, NoLocation
	case !location:
		return -1, OtherLocation
	case k.target == noTarget:
		return -1, NoTarget
	case !target:
		return -1, OtherTarget
	case k.condition == "":
		return -1, NoCondition
	}
	return -1, OtherCondition
}

func be32(b []byte) (n uint32) {
	for _, c := range b[:min(4, len(b))] {
		n = n<<8 | uint32(c)
	}
	return n
}

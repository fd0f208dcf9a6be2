package page

import "time"

// Campaigns lists the campaigns.
type Campaigns struct {
	Frame
	Rows    []CampaignRow
	MayEdit bool
	Form    Form // CampaignFields
}

func (Campaigns) screen() string { return "campaigns" }

// CampaignRow is one campaign with its progress.
type CampaignRow struct {
	ID       string
	Name     string
	Lab      string
	Done     int
	Planned  int
	Rejected int
	LastShot time.Time
	State    Status // as {Plain, "under way"}
}

// Percent is the share done, at most 100; a campaign without a plan has none.
func (r CampaignRow) Percent() int { return percent(r.Done, r.Planned) }

// Campaign is one campaign with its progress by cell.
type Campaign struct {
	Frame
	ID          string
	Name        string
	Lab         string
	Tolerance   string // as "± 0.10 m/s"
	Conditions  string
	Times       string // "at most 5 min out of the chamber"
	Rig         string // where it is to be fired; "": not said
	Days        string // as "2026-05-04 to 2026-05-15"; "": not said
	Unsettled   string // what two sites set of these without sight of each other
	When        *Form  // CampaignWhenFields; nil: may not be changed
	SetLimits   *Form  // CampaignLimitsFields; nil: may not be changed
	Done        int
	Planned     int
	Rejected    int
	Speeds      []string // column heads with unit, as "5.50 m/s"
	Rows        []CellRow
	Outside     []OutsideRow // shots on its specimens that no cell counts
	Skipped     []SkippedHit // planned hits that are not to be fired
	ShotsHref   string
	RecentShots []ShotRow
	Limits      []LimitRow // acceptance limits: Name, Most and Source
	Criteria    []Criterion
}

// Criterion says with what a specimen passes its inspection.
type Criterion struct {
	Element string
	Text    string // as "at worst “damaged”, at most 3.0 mm, own plan"
}

func (Campaign) screen() string { return "campaign" }

// Percent is the share done, at most 100.
func (c Campaign) Percent() int { return percent(c.Done, c.Planned) }

// CellRow is one line of the progress table: a specimen, an impact location and
// a condition, one cell for each target speed, in the order of Campaign.Speeds.
type CellRow struct {
	Specimen  string
	Location  string
	Condition string
	Cells     []Cell
}

// OutsideRow is shots on a specimen of a campaign that its plan does not count.
type OutsideRow struct {
	Specimen  string
	Location  string
	Condition string
	Target    string // with unit
	Shots     int
	Why       string // as "condition not in the plan"
	Href      string
}

// SkippedHit is a planned hit that somebody took out of the run order.
type SkippedHit struct {
	Hit    string // "FG-A-012, front, 5.50 m/s, hit 2"
	Reason string
	By     string
	At     time.Time
}

// Cell counts the shots of one cell. Done counts accepted ones.
type Cell struct {
	Done     int
	Planned  int
	Rejected int
	Skipped  int    // planned hits that are not to be fired
	Href     string // to the shots of the cell; may be empty
}

// Word says the cell's state: "complete", "under way",
// "not begun", "none accepted yet", "not planned" or "beyond the plan".
func (c Cell) Word() string {
	switch {
	case c.Planned == 0 && c.Done == 0:
		return "not planned"
	case c.Planned == 0:
		return "beyond the plan"
	case c.Done >= c.Planned:
		return "complete"
	case c.Done > 0:
		return "under way"
	case c.Rejected > 0:
		return "none accepted yet"
	default:
		return "not begun"
	}
}

// Heat is 0 for nothing done up to 3 for complete, for the cell's shade.
func (c Cell) Heat() int {
	switch {
	case c.Done == 0:
		return 0
	case c.Done >= c.Planned:
		return 3
	case c.Done*2 >= c.Planned:
		return 2
	default:
		return 1
	}
}

func percent(done, planned int) int {
	if planned <= 0 {
		return 0
	}
	return min(100, done*100/planned)
}

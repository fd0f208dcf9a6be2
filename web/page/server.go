package page

import "time"

// SignIn is the server's first screen for a stranger.
type SignIn struct {
	Frame
	Form Form // SignInFields, and hidden "next"
}

func (SignIn) screen() string { return "sign-in" }

// ServerOverview shows the caller's labs at a glance.
type ServerOverview struct {
	Frame
	Labs    []LabRow
	Overdue []DueRow // what is overdue or due soon, worst first
	Agents  []AgentRow
}

func (ServerOverview) screen() string { return "server-overview" }

// LabRow is one lab with its counts.
type LabRow struct {
	ID        string
	Name      string
	Shots     string    // ShowCount
	LastShot  time.Time // zero: none yet
	Campaigns string
	ToAssign  int
	Agents    int
	Overdue   int // overdue items
	DueSoon   int
}

// DueRow is one thing that is due, or about to be.
type DueRow struct {
	Lab   string
	Item  string // name and serial number
	Kind  string // "ram", "sensor"
	What  string // "service", "calibration"
	State Status // as {Bad, "overdue by 12 days"}
	Href  string
}

// Equipment is the register of the caller's labs.
type Equipment struct {
	Frame
	Lab         string   // lab filtered by; empty: all
	Labs        []Choice // to filter by (GET field lab)
	Rams        []RamRow
	Sensors     []SensorRow
	Others      []ItemRow
	MayEdit     bool // forms are shown
	Item        Form // ItemFields
	Service     Form // ServiceFields
	Calibration Form // CalibrationFields
	Mounting    Form // MountingFields
}

func (Equipment) screen() string { return "equipment" }

// RamRow is one ram. Strokes count every stroke, void and dry ones too.
type RamRow struct {
	ID           string
	Lab          string
	Name         string
	Serial       string
	Rig          string
	SinceService int64  // strokes since the last service
	Interval     int64  // strokes between services; 0: not set
	Total        int64  // strokes ever recorded
	State        Status // as {Warn, "service within 40 strokes"}
	LastService  time.Time
}

// Share is how much of the interval is used, in percent, at most 100.
func (r RamRow) Share() int {
	if r.Interval <= 0 || r.SinceService <= 0 {
		return 0
	}
	return int(min(100, r.SinceService*100/r.Interval))
}

// SensorRow is one sensor with its calibration.
type SensorRow struct {
	ID          string
	Lab         string
	Name        string
	Serial      string
	Kind        string // as "sensor", "light gate"
	Rig         string // empty: not mounted
	Position    string
	Calibrated  time.Time // zero: never recorded
	Due         time.Time // zero: not known
	Certificate string
	State       Status // as {Bad, "overdue by 12 days"}, {Warn, "due in 9 days"}, {OK, "in calibration"}
	Strokes     string // seen since the calibration
}

// ItemRow is any other piece of equipment.
type ItemRow struct {
	ID, Lab, Kind, Name, Serial, Rig string
	Strokes                          string
	State                            Status
}

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
	Done        int
	Planned     int
	Rejected    int
	Speeds      []string // column heads with unit, as "5.50 m/s"
	Rows        []CellRow
	Outside     []OutsideRow // shots on its specimens that no cell counts
	ShotsHref   string
	RecentShots []ShotRow
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

// Cell counts the shots of one cell. Done counts accepted ones.
type Cell struct {
	Done     int
	Planned  int
	Rejected int
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

// Agents lists the enrolled agents.
type Agents struct {
	Frame
	Rows      []AgentRow
	MayEnrol  bool
	Form      Form   // CodeFields
	NewCode   string // shown once, right after it was made
	CodeFor   string // agent and lab the code is for
	CodeUntil time.Time
	Revoke    Form // RevokeFields; shown where MayEnrol and any agent can be withdrawn
}

func (Agents) screen() string { return "agents" }

// AgentRow is one agent as the server last heard of it.
type AgentRow struct {
	Name          string
	Lab           string
	State         Status    // as {OK, "in touch"}, {Warn, "silent for 3 h"}, {Bad, "fork found"}
	LastSeen      time.Time // zero: never
	RecordsBehind int64     // as the agent said last
	BytesBehind   string    // ShowBytes
	Silent        bool      // RecordsBehind is of some time ago
	ClockOffset   string    // as "+0.4 s", "2 h slow"
	ClockState    Level
	Fingerprint   string // of the agent's key
	Version       string
}

// Accounts is the administrator's list of people.
type Accounts struct {
	Frame
	Rows   []AccountRow
	Form   Form // AccountFields
	Role   Form // RoleFields
	Access Form // AccessFields
}

func (Accounts) screen() string { return "accounts" }

// Password is the screen on which a person replaces their own password.
type Password struct {
	Frame
	Form Form // PasswordFields
}

func (Password) screen() string { return "password" }

// AccountRow is one account.
type AccountRow struct {
	Name     string
	Roles    []string // as "manager in Northfield lab"
	LastSeen time.Time
	State    Status // as {OK, "active"}, {Plain, "locked"}
}

// Labs is the administrator's list of labs.
type Labs struct {
	Frame
	Rows []LabRow
	Form Form // LabFields
}

func (Labs) screen() string { return "labs" }

// Problem is an error screen. Status is the HTTP status.
type Problem struct {
	Frame
	Status int
	What   string // one sentence
	Where  string
	Fix    string
	ID     string // request id to quote, so that the log can be searched
}

func (Problem) screen() string { return "problem" }

// Manual is one page of the manual.
type Manual struct {
	Frame
	Pages []NavItem
	Body  Prose
}

func (Manual) screen() string { return "manual" }

// Licences shows the notices of the libraries in the program.
type Licences struct {
	Frame
	Items []Licence
}

func (Licences) screen() string { return "licences" }

// Licence is one library's notice.
type Licence struct{ Name, Version, Text string }

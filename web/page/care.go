package page

import (
	"net/url"
	"strings"
	"time"
)

// Paths of the screens for looking after equipment.
const (
	PathHealth    = "/health"
	PathUsage     = "/usage"
	PathStockList = "/equipment/list"

	PostStockCheck = "/equipment/list/check"
	PostState      = "/equipment/states"
	PostCorrection = "/equipment/corrections"
	PostPlan       = "/equipment/plans"
	PostFeed       = "/health/feed"
)

// ItemUsePath is the screen of what an item went through.
func ItemUsePath(id string) string { return "/equipment/use/" + url.PathEscape(id) }

// StockList takes in a list of equipment. What it would change is shown first.
type StockList struct {
	Frame
	Lab     string // chosen
	Labs    []Choice
	MayEdit bool
	Columns []string
	States  []string
	Classes []string // that a new item may have
	Text    string   // as pasted
	Faults  []Notice // line by line
	Plan    *StockPlan
}

func (StockList) screen() string { return "stock-list" }

// StockPlan is what a list would change.
type StockPlan struct {
	All, New, Edit int
	Lines          []StockLine
	Text, Digest   string // sent back when it is to be carried out
	Key            string
}

// Same is how many lines change nothing.
func (p *StockPlan) Same() int { return p.All - p.New - p.Edit }

// StockLine is one line of a list that would change something.
type StockLine struct {
	Line    int
	Item    string
	New     bool
	Changes []StockChange
	Note    string
}

// StockChange is one field.
type StockChange struct{ Field, From, To string }

// ItemUse is what an item went through, where and in which state it was, and
// when its service is due.
type ItemUse struct {
	Frame
	ID, Item, Kind, Lab string
	Asset, Model        string
	State               Status         // "in service", "quarantined", …
	Where               string         // rig and position, or the place where it is kept
	Service             Status         // with the forecast
	Orders              []WorkOrderRow // open ones
	NewOrder            string         // where to open one; empty: not allowed
	Plan, PlanHref      string         // in words, and where plans of classes are listed
	Causes              []SeenCause
	Rate                string // how the forecast was made; empty: none
	Strokes             string // in all
	Opening, Corrected  string // of these
	SinceService        string
	FoundOut            []ReviewListRow // calibrations that found it outside its limits
	Shots               string
	DaysMounted         string
	Energy              Number
	EnergyOf            string // over how many strokes
	Hardest             Number
	HardestHref         string
	HardestAt           time.Time
	AtRig               *RigFacts   // nil: it is not mounted
	Events              []ItemEvent // newest first
	MayEdit             bool
	StateForm           Form // StateFields
	CorrectionForm      Form // CorrectionFields
	PlanForm            Form // PlanFields
}

func (ItemUse) screen() string { return "item-use" }

// SeenCause is what was seen at the rig that makes an item due.
type SeenCause struct {
	State  Status
	Reason string
	Href   string // to the stroke that shows it
}

// ItemEvent is one line of an item's history.
type ItemEvent struct {
	At        time.Time
	What      string // as "mounted at rig one, position ram"
	Why       string
	By        string
	Withdrawn string // reason; empty: it holds
	Href      string // to its own screen, for those who may withdraw it
}

// EntryPath is the screen of one entry of an item's history.
func EntryPath(item, kind, id string) string {
	return ItemUsePath(item) + "/" + kind + "/" + url.PathEscape(id)
}

// Entry is one entry of an item's history, with what it takes to withdraw it.
type Entry struct {
	Frame
	Item     string
	ItemHref string
	Event    ItemEvent
	Recorded time.Time
	Follows  string // what a withdrawal changes, and what it does not
	Withdraw *Form  // nil: it is withdrawn, or the caller may not
}

func (Entry) screen() string { return "entry" }

// Health shows of all labs what needs looking after.
type Health struct {
	Frame
	Lab     string
	Labs    []Choice
	Items   int // that were looked at
	Rows    []HealthRow
	Weeks   []DueWeek
	Agents  []AgentRow
	Fetched string // labs whose agents send to their own servers
	Feed    Form   // makes a new link
	FeedURL string // shown once, right after it was made
	FeedOn  time.Time
}

// BookingsURL is FeedURL for the bookings of the rigs.
func (h Health) BookingsURL() string {
	return strings.TrimSuffix(h.FeedURL, ".ics") + "/bookings.ics"
}

func (Health) screen() string { return "health" }

// Worst counts the rows of a level.
func (h Health) count(l Level) (n int) {
	for _, r := range h.Rows {
		if r.State.Level == l {
			n++
		}
	}
	return n
}

// Bad is how many rows are bad.
func (h Health) Bad() int { return h.count(Bad) }

// Warn is how many rows ask for attention.
func (h Health) Warn() int { return h.count(Warn) }

// HealthRow is one thing that needs looking after.
type HealthRow struct {
	Lab, Item, Kind  string
	Where            string
	State            Status
	Reason           string
	Href             string
	Evidence         string // address of the stroke that shows it; empty: none does
	Order, OrderText string // a work order: the open one, or where to open one; empty: none
}

// DueWeek is what falls due in one week, Monday to Sunday.
type DueWeek struct {
	From, To time.Time
	Number   int // ISO 8601 week
	Past     bool
	Rows     []DueDay
}

// DueDay is one thing that falls due.
type DueDay struct {
	On        time.Time
	Lab, Item string
	What      string // "calibration", "service"
	Range     string // of a forecast, as "2026-11-30 to 2026-12-09"
	Href      string
}

// UsageReport says who used the rigs.
type UsageReport struct {
	Frame
	Lab, From, To string // as filtered; months, as 2026-03
	Labs          []Choice
	By            string // "owner", "operator", "month", "rig", "campaign"
	Rows          []UsageRow
	Strokes       string // in all
	Hours         Number
	Booked        Number
	CSV, PDF      string // addresses
	Bad           string // what is wrong with the filter
}

// UsageCounts says what a report of who used the rigs counts.
const UsageCounts = "Every stroke counts, dry and void ones too, also those without a file: dry strokes by one tap, files that came twice and count, and what the controller’s counter shows beyond. So the sum is that of the rigs’ counters. Rig hours run on each rig and day from the first to the last stroke of a row; where two share a rig’s day, hours overlap, and shares are of the sum. Booked hours are those of the bookings that were not cancelled, as far as they lie in these months; of two that clash both count."

// NoCertificate is what every report says of the program.
const NoCertificate = "Thudbook records and reminds. It never fires a ram, is no safety device, no certification and no medical advice."

// Counts is UsageCounts, for the screen.
func (UsageReport) Counts() string { return UsageCounts }

func (UsageReport) screen() string { return "usage" }

// UsageBy lists what usage can be shown by.
func (UsageReport) UsageBy() []Choice {
	return []Choice{{"owner", "department or project"}, {"department", "department"}, {"project", "project"}, {"campaign", "campaign"}, {"operator", "operator"}, {"rig", "rig"}, {"month", "month"}}
}

// UsageRow is one share.
type UsageRow struct {
	Name         string
	Strokes      string
	StrokeShare  Number
	Hours        Number
	HourShare    Number
	Booked       Number // hours
	SharePercent int    // of strokes, for the bar
}

// StateFields states an item's state and place.
func StateFields() []Field {
	return []Field{
		{Name: "item", Kind: "hidden"},
		{Name: "state", Label: "State", Kind: "select", Required: true, Options: []Choice{{"in service", "in service"}, {"quarantined", "quarantined"}, {"at calibration", "at calibration"}, {"retired", "retired"}}},
		{Name: "location", Label: "Kept at", Kind: "text", Help: "While it is not mounted, as store room, shelf 3."},
		{Name: "effective_at", Label: "Since", Kind: "datetime-local", Required: true},
		{Name: "reason", Label: "Reason", Kind: "area", Required: true},
	}
}

// CorrectionFields corrects an item's counter.
func CorrectionFields() []Field {
	return []Field{
		{Name: "item", Kind: "hidden"},
		{Name: "strokes", Label: "Strokes to add", Unit: "strokes", Kind: "number", Required: true, Help: "With a minus: to take off."},
		{Name: "effective_at", Label: "As of", Kind: "datetime-local", Required: true, Help: "Before the last service it no longer counts towards the next one."},
		{Name: "reason", Label: "Reason", Kind: "area", Required: true},
	}
}

// PlanFields changes the service plan that an item has for itself.
func PlanFields() []Field {
	return append(append([]Field{
		{Name: "item", Kind: "hidden"},
		{Name: "service_every_strokes", Label: "Service every", Unit: "strokes", Kind: "number", Help: "Empty: not by strokes."},
		{Name: "service_every_days", Label: "Service every", Unit: "days", Kind: "number", Help: "Empty: not by time. With both, whichever comes first."},
		{Name: "warn_strokes", Label: "Warn before", Unit: "strokes", Kind: "number", Help: "Empty: in the last tenth."},
		{Name: "warn_days", Label: "Warn before", Unit: "days", Kind: "number", Help: "Empty: in the last tenth."},
	}, conditionFields()...), Field{Name: "no_service_plan", Label: "No plan at all", Kind: "checkbox", Help: "Not even that of its kind. Without it, and with nothing set above, the plan of its kind holds."})
}

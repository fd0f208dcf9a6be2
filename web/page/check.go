package page

import (
	"html/template"
	"time"
)

// Paths of the screens of system checks.
const (
	PathCheck       = "/check"  // at the rig
	PathChecks      = "/checks" // on the server
	PostCheckLimits = "/checks/limits"
)

// Check is the screen of the system checks of a rig: today's, and how it agrees
// with those before it on the same reference pad.
type Check struct {
	Frame
	Path      string // of this screen
	Rig       string // id; empty at the rig
	Rigs      []Choice
	Pad       string // whose history is shown
	Pads      []Choice
	Series    []Choice // setups that were fired on that pad, the newest first
	SeriesKey string   // of the one that is shown
	Setup     string   // of that one, in words
	Began     string   // with what change it began, in words
	Ahead     string   // that the next check belongs to another series, in words
	State     Status
	Reason    string
	Href      string // the check that State is about
	Charts    []CheckChart
	Rows      []CheckRow // newest first
	More      bool       // there are earlier ones
	Limits    []CheckLimit
	Fire      Form // CheckFields; empty on the server
	Set       Form // CheckLimitsFields; empty for those who may not
}

func (Check) screen() string { return "check" }

// CheckChart is the history of one result.
type CheckChart struct {
	Name string // "Peak linear acceleration"
	Text string // what the drawing shows, and its limits, in words
	HTML template.HTML
}

// CheckRow is one check.
type CheckRow struct {
	At      time.Time
	Href    string
	Values  []Number // in the order of the charts
	State   Status
	Words   string // what is beyond which limit
	Against string // what it was held against
}

// CheckLimit is one limit that holds now.
type CheckLimit struct {
	Name        string
	For         string // setups that it is for
	Least, Most Number
	Source      string
	Since       time.Time
}

// PadField names the reference pad of a system check.
const PadField = "reference_pad"

// CheckFields asks what a system check is about to be fired on, in the lab's
// unit of pressure. Choices: PadField.
func CheckFields(unit string) []Field {
	return append([]Field{
		{Name: PadField, Label: "Reference pad, serial number", Kind: "list", Required: true, Help: "A check is held against those on the same pad with the same head form, neck, impactor face and target speed."},
		{Name: "target_speed_m_s", Label: "Target speed", Unit: "m/s", Kind: "number", Help: "The same at every check: another speed is another series."},
	}, ConfirmFields(unit)...)
}

// CheckLimitsFields sets what the checks of a rig on a pad are held against.
// Choices: "pad", "setup".
func CheckLimitsFields() []Field {
	return []Field{
		{Name: "pad", Label: "Reference pad, serial number", Kind: "list", Required: true},
		{Name: "setup", Label: "For the setup", Kind: "select", Help: "Head form, neck, impactor face and target speed. Results on one pad differ with each of them."},
		{Name: "peak_least", Label: "Peak linear acceleration, at least", Unit: "g", Kind: "number"},
		{Name: "peak_most", Label: "Peak linear acceleration, at most", Unit: "g", Kind: "number"},
		{Name: "hic_least", Label: "HIC15, at least", Kind: "number"},
		{Name: "hic_most", Label: "HIC15, at most", Kind: "number"},
		{Name: "per_speed_least", Label: "Peak per impact speed, at least", Unit: "g/(m/s)", Kind: "number"},
		{Name: "per_speed_most", Label: "Peak per impact speed, at most", Unit: "g/(m/s)", Kind: "number"},
		{Name: "source", Label: "Where the figures are from", Kind: "text", Help: "As the pad’s certificate, with its number."},
		{Name: "anew", Label: "The control chart starts anew", Kind: "checkbox", Help: "After a change that makes earlier checks no match, such as another head form."},
		{Name: "reason", Label: "Why it starts anew", Kind: "text"},
		{Name: "effective_at", Label: "Since", Kind: "datetime-local", Required: true},
	}
}

package page

import "time"

// CorrectPath takes the form that corrects one shot (POST).
func CorrectPath(id string) string { return ShotPath(id) + "/correct" }

// FiredPath takes the form that corrects when a shot was fired (POST).
func FiredPath(id string) string { return ShotPath(id) + "/fired" }

// FiredFields ask when a shot was fired.
func FiredFields() []Field {
	return []Field{{Name: "fired_at", Label: "Fired at", Kind: "datetime-local", Required: true, Help: "By a clock that was right. What was mounted and in calibration counts for this time."}}
}

// VoidPath takes the form that makes a shot void or counts it again (POST).
func VoidPath(id string) string { return ShotPath(id) + "/void" }

// SettlePath takes which of several values of a field holds (POST, fields
// "field", "keep" and "seen").
func SettlePath(id string) string { return ShotPath(id) + "/settle" }

// SeenField is the hidden field that names the state a person saw.
const SeenField = "seen"

// Unsettled is a field for which several values were recorded without sight of
// each other.
type Unsettled struct {
	Field  string // as in the shot's meta
	Label  string
	Action string // SettlePath; empty where the caller may not settle
	Seen   string
	Values []Version // the one that holds for now first
}

// Version is one of several values of a field.
type Version struct {
	Keep string // names it to SettlePath
	Text string
	By   string
	At   time.Time
}

// HistoryRow is one change of a shot, or what was taken in with it.
type HistoryRow struct {
	At   time.Time
	By   string
	What string // "Specimen", "Made void"
	Text string // the value, or the reason
}

// VoidFields asks why a shot does not count.
func VoidFields() []Field {
	return []Field{{Name: "reason", Label: "Why it does not count", Kind: "text", Required: true, Help: "As: chin strap came loose."}}
}

// LiftFields asks why a void shot counts after all.
func LiftFields() []Field {
	return []Field{{Name: "reason", Label: "Why it counts after all", Kind: "text", Required: true}}
}

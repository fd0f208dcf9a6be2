package page

import (
	"time"

	"thudbook/web/chart"
)

// Flag is one reason why a result may not be trusted, in words. Code links to
// the table of the manual.
type Flag struct {
	Code    string // as "saturated"
	Channel string // empty when it is about the whole shot
	Text    string
	Level   Level // Warn unless set; Bad for what spoils the shot; Plain for a remark
}

// ShotRow is one line of a list of shots. Numbers that do not exist are
// Missing with a reason.
type ShotRow struct {
	ID       string
	At       time.Time // when it was fired, in the zone to show
	Arrival  bool      // At is when the file came: nothing says when it was fired
	Lab      string    // shown when any row has one
	Campaign string    // shown when any row has one
	Kind     string    // "shot", "dry stroke", "system check"; shown when it is not "shot"
	Specimen string
	Location string
	Speed    Number
	Target   Number
	PeakG    Number
	SI       Number
	HIC15    Number
	Flags    []Flag
	Waiting  bool // to assign
}

// Shots is the list of shots with filter and paging (agent and server).
type Shots struct {
	Frame
	Filter   ShotFilter
	Rows     []ShotRow
	Total    string // as "1 204 shots", "no shot"
	From, To int    // position of the first and last row shown, from 1
	Newer    string // link, empty at the newest page
	Older    string // link, empty at the oldest page
	CSV      string // link; empty where it is not offered
}

func (Shots) screen() string { return "shots" }

// ShotFilter is what the list was filtered by (GET fields lab, campaign,
// specimen), and what can be chosen.
type ShotFilter struct {
	Lab, Campaign, Specimen string
	Labs, Campaigns         []Choice // empty: the field is not offered
}

// Shot is one shot with everything known about it (agent and server).
type Shot struct {
	Frame
	ID       string
	At       time.Time // fired
	AtFrom   string    // where At comes from, as "from the file header", "typed"
	TakenIn  time.Time // when the agent took it in
	Lab      string
	Rig      string
	Kind     string        // "shot", "dry stroke", "system check"
	State    Status        // as {Warn, "to assign"}
	Mounted  []ShotMounted // what sat at the rig when it was fired, by position
	Headline []Result
	Results  []Result
	// Published are functions that others fitted to injury data; shown folded, each
	// with the sentence that says what it is not.
	Published []Published
	Shock     *Shock     // nil: there are no signals to take spectra of
	Limits    []LimitRow // acceptance limits of the campaigns that have the specimen
	Flags     []Flag
	Meta      []MetaRow
	Errors    []FileError // what in the file could not be read
	Source    SourceFile
	Map       MapUsed
	// AnotherMap links to where it is computed again by another channel map; empty
	// where that is not done.
	AnotherMap string
	Engine     string       // version of the computation
	Revision   string       // which result is shown, where there are several
	Reviews    []Reference  // that the shown result rests on
	TakenBy    string       // who was signed in at the rig then; empty: nobody
	Origin     string       // chain the record stands in, as "node 1a2b…, lab Northmere, epoch 1"
	Seq        string       // place in the chain
	Received   Status       // as {OK, "receipt from server, 2026-11-25 14:02"}; empty Word hides it
	Gap        *Gap         // nil: nothing is asked
	Stated     *Stated      // nil: the results rest on the speed that is recorded
	Accept     *Form        // nil where the caller may not, and where it is decided
	Accepted   Status       // by whom and when; no word: nobody yet
	Assign     *Form        // AssignFields; nil when nothing is missing
	Unsettled  []Unsettled  // fields with several values, for a person to decide
	Correct    *Form        // AssignFields; nil where the caller may not
	Fired      *Form        // FiredFields; nil where the caller may not
	Void       *Form        // VoidFields or LiftFields; nil where the caller may not
	Voided     bool         // it is void, and Void counts it again
	History    []HistoryRow // oldest first; empty when nothing was changed
	Traces     *chart.Traces
	Overlays   []Overlay       // other shots of the cell, to lay over the traces
	NoTraces   string          // why Traces is nil, as "no channel could be read"
	Specimen   string          // link to its history; empty: none is named
	Inspect    string          // link to the form; empty where the caller may not
	Inspected  []InspectionRow // of the specimen after this shot
	Photos     []Photo
	AddPhotos  *PhotoForm // nil where the caller may not
	Previous   string     // link, empty at the oldest
	Next       string     // link, empty at the newest
}

func (Shot) screen() string { return "shot" }

// Stated says that results rest on another stated speed than the one that is
// recorded now.
type Stated struct {
	By, Now string // as "5.50 m/s", "the light gate"
	Again   *Form  // computes again; nil where the caller may not
}

// TracesHref is where the script fetches the traces from.
func (s Shot) TracesHref() string { return TracesPath(s.ID) }

// Result is one line of the results table.
type Result struct {
	Key   string // name in the JSON contract, as "hic15"
	Name  string // MetricName(Key) when empty
	Value Number
	At    Number // time of the value, or start of its window
	To    Number // end of its window; empty when there is none
	Note  string // as "exponent 2.5, 250 g, 25 000 rad/s²"
}

// Published is the value of a function that others have published; it is no result.
type Published struct {
	Name     string // "Fit to concussion data, linear and angular acceleration"
	Authors  string
	Year     int
	Of       string // the results that went in, with values
	Value    Number // in %; Text may begin with "at most" or "at least"
	Sentence string // what it is and what it is not
}

// Reference is a link to something that a screen rests on.
type Reference struct{ Text, Href string }

// LimitRow is one result held against an acceptance limit of a campaign.
type LimitRow struct {
	Name     string // of the result
	Campaign string
	Most     Number
	Value    Number
	Margin   Number // limit minus value
	State    Status // {OK, "within the limit"}
	Source   string // where the limit is from, and whether that was confirmed
}

// MetaRow is one fact that came with the shot, or is missing.
type MetaRow struct {
	Label  string
	Value  Number // Text may be any words
	KPa    Number // a pressure as it is recorded, where Value is in another unit
	Manual bool   // typed by a person, not measured or read from the file
}

// SourceFile is the acquisition's file as it was kept.
type SourceFile struct {
	Name   string
	SHA256 string
	Size   string // ShowBytes
	Href   string // SourcePath(id); empty when the bytes are not on this node
	Absent string // why Href is empty, as "still on the rig PC"
}

// MapUsed names the channel map that the results were computed with.
type MapUsed struct {
	Name    string
	SHA256  string
	Guessed bool
	Text    string // the map itself, TOML; shown folded
}

// FileError says what in a file could not be used, where, and what to do. Line
// and Column are 1-based; zero means it does not apply.
type FileError struct {
	Code    string
	What    string
	Line    int
	Column  int
	Channel string
	Fix     string
}

// MetricName is the screen's name for a result of the contract.
func MetricName(key string) string {
	switch key {
	case "peak_linear_acceleration":
		return "Peak linear acceleration"
	case "severity_index":
		return "Severity index"
	case "hic15":
		return "HIC, 15 ms"
	case "hic36":
		return "HIC, 36 ms"
	case "clip_3ms":
		return "3 ms clip, contiguous"
	case "dwell_150g":
		return "Dwell above 150 g"
	case "dwell_200g":
		return "Dwell above 200 g"
	case "impact_duration":
		return "Impact duration, 4 g to 4 g"
	case "velocity_change":
		return "Velocity change"
	case "peak_angular_velocity":
		return "Peak angular velocity"
	case "peak_angular_acceleration":
		return "Peak angular acceleration"
	case "bric":
		return "BrIC"
	case "gambit":
		return "GAMBIT"
	case "damage":
		return "DAMAGE"
	case "clip_3ms_cumulative":
		return "3 ms clip, cumulative"
	case "time_to_peak":
		return "Time to peak, from 4 g"
	case "pulse_width_50_percent":
		return "Pulse width at 50 % of peak"
	case "pulse_width_10_percent":
		return "Pulse width at 10 % of peak"
	case "rise_rate":
		return "Rise rate, 10 % to 90 % of peak"
	case "ric36":
		return "RIC, 36 ms"
	case "gambit_b":
		return "GAMBIT, form B"
	case "harm":
		return "HIC and DAMAGE combined (HARM)"
	case "impact_speed":
		return "Impact speed"
	case "ram_energy":
		return "Ram energy"
	default:
		return key
	}
}

// Overlay is another shot that can be laid over the traces.
type Overlay struct{ ID, Text string }

// TracesCSVPath serves the traces of a shot as a table.
func TracesCSVPath(id string) string { return ShotPath(id) + "/traces.csv" }

// ShotMounted is what sat at a position of the rig when a shot was fired.
type ShotMounted struct {
	Position, Item, Href string
	Calibration          Status // then; zero: it needs none
	Certificate          string // that held then
	Rests                string // number of another certificate, which the results rest on; empty: this one, or none
	State                Status // zero: in service
}

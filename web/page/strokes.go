package page

import (
	"html/template"
	"time"
)

// Paths of the screens about the ram.
const (
	PathStrokes  = "/strokes"
	PathDrift    = "/drift"
	PostCounter  = "/strokes/counter"
	PostWithdraw = "/strokes/withdraw"
)

// Strokes is the screen for strokes of which there is no file.
type Strokes struct {
	Frame
	Ram     string // empty: none is mounted by the register
	Since   string // strokes since the service
	Service time.Time
	Dry     Form // DryFields; one tap
	Counter Form // CounterFields
	Last    string
	Entries []BareRow // newest first; those without Withdraw were not entered here
	Reads   []ReadRow // newest first
}

func (Strokes) screen() string { return "strokes" }

// BareRow is an entry of strokes without a file.
type BareRow struct {
	At       time.Time
	What     string // "3 dry strokes"
	Hit      string // "FG-A-012, front, hot"; empty: nothing, or nobody said what
	Pressure Pressure
	Reason   string
	By       string // empty: nobody had said who
	Withdraw Form   // empty action: it is taken back elsewhere
}

// ReadRow is a reading of the controller's counter.
type ReadRow struct {
	At       time.Time
	Counter  string
	Counted  string // since the reading before
	Recorded string
	State    Status // "5 unaccounted"
	Reason   string
	Withdraw Form
}

// DryFields asks for strokes without a file, in the lab's unit of pressure.
func DryFields(unit string) []Field {
	return []Field{
		{Name: "number", Label: "Dry strokes", Kind: "number", Required: true},
		{Name: "pressure", Label: "Tank pressure, gauge", Unit: unit, Kind: "number"},
	}
}

// CounterFields asks what the controller's counter shows.
func CounterFields() []Field {
	return []Field{
		{Name: "counter", Label: "The controller's counter shows", Unit: "strokes", Kind: "number", Required: true},
		{Name: "reason", Label: "Why there may be strokes that nobody recorded", Kind: "text", Help: "Needed where the counter has more strokes than are recorded here, or went back."},
	}
}

// Drift is the screen of how a ram's speed moves between services.
type Drift struct {
	Frame
	Ram      string
	Service  time.Time
	Shots    string
	Words    []Notice // what the charts and the trend say
	Fit      template.HTML
	Residual template.HTML
	CUSUM    template.HTML
	FitText  string // what the drawings show, for those who do not see them
	Why      string // why there is nothing to draw
	NoCharts string
}

func (Drift) screen() string { return "drift" }

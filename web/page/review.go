package page

import (
	"net/url"
	"time"
)

// Where reviews of sensitivities are.
const (
	PathReviews   = "/reviews"
	PathNewReview = "/reviews/new"
	PostReview    = "/reviews"
)

// ReviewPath is the screen of one review.
func ReviewPath(id string) string { return PathReviews + "/" + url.PathEscape(id) }

// NewReviewPath is where a calibration that found a sensor outside its limits is
// looked at before it is reviewed.
func NewReviewPath(found string) string {
	return PathNewReview + "?" + url.Values{"found": {found}}.Encode()
}

// Reviews lists what calibrations found outside its limits, and what was made of it.
type Reviews struct {
	Frame
	Rows []ReviewListRow
}

func (Reviews) screen() string { return "reviews" }

// ReviewListRow is one calibration that found a sensor outside its limits.
type ReviewListRow struct {
	Lab, Item string
	On        time.Time // of the calibration
	Text      string    // as "+5.0 % since K-1, limit ±2.2 %"
	State     Status    // as {Bad, "no review yet"}, {OK, "reviewed: linear"}
	Href      string
}

// Review shows the strokes between two calibrations with their results before
// and after: to try how the sensitivity may have run, or as it was recorded.
type Review struct {
	Frame
	Item, ItemHref string
	Lab            string
	Good, Found    ReviewCertificate
	Change         string // as "+5.0 %"
	Limit          string // as "±2.2 %, the expanded uncertainties of …"
	Choose         *ReviewChoice
	Form           *Form // ReviewFields; nil where the caller may not
	Recorded       *RecordedReview
	Progress       *Progress
	Failed         string // why it did not go on
	Counts         []ReviewCount
	Columns        []string // of results, with their units
	Groups         []ReviewGroup
	Cut            string // said when not all rows are shown
	CSV            string // link
	Again          *Form  // no fields: go on
	Stop           *Form  // no fields
	Withdraw       *Form  // ReasonFields
}

func (Review) screen() string { return "review" }

// ReviewCertificate is one of the two certificates.
type ReviewCertificate struct {
	Number      string
	On          time.Time
	Sensitivity Number
	AsLeft      Number // empty: as found
	Laboratory  string
}

// ReviewChoice says how the sensitivity is taken to have run (GET fields course, step_at).
type ReviewChoice struct {
	Found  string // id of the calibration
	Course string
	StepAt string // as a datetime-local input has it
	Error  string // what is wrong with StepAt
}

// RecordedReview is what was written down.
type RecordedReview struct {
	Number string
	At     time.Time
	By     string
	Course string // in words
	Why    string
	Cause  string
	Action string
	Told   string
	// After ISO/IEC 17025, 7.10.
	Significance, Halted, Resumed string
	Withdrawn                     string // reason; empty: it holds
}

// Progress of long work.
type Progress struct{ Done, Of int }

// Percent is the share done.
func (p Progress) Percent() int {
	if p.Of <= 0 {
		return 0
	}
	return min(100, 100*p.Done/p.Of)
}

// ReviewCount is one figure of the summary.
type ReviewCount struct {
	Name  string
	Count string
	Level Level
}

// ReviewGroup is what one specimen of a campaign went through.
type ReviewGroup struct {
	Campaign string
	Specimen string
	Rows     []ReviewRow
}

// ReviewRow is one stroke, before and after.
type ReviewRow struct {
	Href     string
	At       time.Time
	What     string // location, or the kind of stroke
	Held     Number // sensitivity taken to have held
	Cells    []Pair // by column
	Before   Status // against the acceptance limits
	After    Status
	Flips    bool
	Revision string // as "1 → 2"
	Why      string // there is no result after it
}

// Pair is one result before and after, in the unit of its column.
type Pair struct{ Before, After Number }

// Courses are the ways that a sensitivity can have run, in words.
func Courses() []Choice {
	return []Choice{
		{"whole span", "as found, over the whole span"},
		{"linear", "in a straight line from the good value to the found one"},
		{"step", "good until a moment, as found from then on"},
	}
}

// ReviewFields writes down what is made of it.
func ReviewFields() []Field {
	return []Field{
		{Name: "why", Label: "Why this is assumed", Kind: "area", Required: true, Help: "As: dropped on that day; no sign of when, so the whole span is taken."},
		{Name: "number", Label: "Number of the nonconformity report", Kind: "text", Help: "The lab's own."},
		{Name: "significance", Label: "How much it matters, and whether the work is acceptable", Kind: "area", Help: "Needed under ISO/IEC 17025, 7.10."},
		{Name: "cause", Label: "Cause", Kind: "area"},
		{Name: "halted", Label: "Work halted, reports withheld or called back", Kind: "area"},
		{Name: "action", Label: "What was done about sensor and work", Kind: "area"},
		{Name: "told", Label: "Customers and others who were informed, with the date", Kind: "area"},
		{Name: "resumed", Label: "Who allowed the work to go on, and when", Kind: "area"},
	}
}

// ReasonFields asks for a reason.
func ReasonFields() []Field {
	return []Field{{Name: "reason", Label: "Reason", Kind: "text", Required: true}}
}

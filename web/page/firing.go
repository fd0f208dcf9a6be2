package page

import (
	"slices"
	"time"
)

// Paths of the screens for a day of shots.
const (
	PathOverview = "/overview"
	PathNext     = "/next"
	PathResult   = "/result"

	PostConfirm  = "/next/confirm"
	PostOrder    = "/next/order"
	PostTakenOut = "/next/out"
	PostUnit     = "/next/unit"
	PostEnd      = "/result/end"
	PostAccept   = "/result/accept"
	PostVoid     = "/result/void"
	PostBind     = "/result/bind"
	PostSecond   = "/result/second"
	PostWhole    = "/result/whole"
)

// Next is the screen with the one shot that is to be fired next.
type Next struct {
	Frame
	Campaign  string   // id of the one whose order is followed; empty: none
	Campaigns []Choice // empty: there is none
	Step      *Step    // nil: Why says why
	Why       string
	Left      int
	Done      int
	Skipped   int
	Confirm   Form // the pressure was set, fire
	Free      Form // off the plan
	// FreeTimers are those of specimens that were hit or out lately; no plan limits them.
	FreeTimers []FreeTimer
	FreeOut    Form // TakenOutFields
	Order      []OrderRow
	More       int  // steps after those of Order
	FreeDry    bool // the form of a free shot is open for a dry stroke
	Guided     []GuidedRow
	Unit       Form
}

func (Next) screen() string { return "next" }

// FreeTimer is how long ago a specimen was hit last, and left its chamber.
type FreeTimer struct {
	Specimen  string
	Rest, Out Since
	Tap       Form // out of the chamber, or back in
}

// TakenOutFields name a specimen that leaves its chamber.
func TakenOutFields() []Field {
	return []Field{{Name: "specimen", Label: "Specimen", Kind: "text", Required: true}}
}

// Step is a planned hit with what the operator needs for it.
type Step struct {
	Specimen  string
	Location  string
	Condition string // empty: any
	Hit       string // "hit 2 of 3"
	Target    Number
	Tolerance Number // missing: the speed is not judged
	Pressure  Pressure
	Low, High Pressure // interval of the proposal
	Chance    Number
	Basis     string // what the proposal rests on
	Before    bool   // that was before the last service
	NoProp    string // why nothing is proposed
	FewShots  bool   // since too few shots, or too much alike, were fired for a curve
	Observed  string // the pressures that were observed
	Most      string // maximum allowed pressure of the rig; empty: none is stated
	Ambient   bool   // it comes from no chamber, and was not said to be out of one
	Out       Since  // of the chamber
	OutForm   Form   // one tap: out of the chamber, or back in
	Rest      Since  // the last hit on the specimen
}

// Pressure is one in the lab's unit, and in kPa beside it where that is another.
type Pressure struct{ Number, KPa Number }

// Since is a moment whose age counts up on the screen; zero: never.
type Since struct {
	At    time.Time
	Limit TimeLimit // zero: the time is not limited
}

// TimeLimit is how long something may or must last. Before and After are the
// words on either side of Until; "{}" stands for the time that is left.
type TimeLimit struct {
	State         Status // now
	Until         time.Time
	Before, After string
	AfterLevel    Level
}

// OrderRow is a step of the run order with what can be done about it.
type OrderRow struct {
	Specimen, Location, Condition string
	Target                        Number
	Hit                           string
	State                         Status
	Hidden                        map[string]string // names the step to PostOrder
	Skipped                       bool
	First                         bool // it is the next one
	Above                         map[string]string
	Bad                           string // why the reason that was given for a skip was not taken
	Reason                        string // then, that reason
}

// OrderBad says that a change of the run order was not taken.
func (n Next) OrderBad() bool {
	return slices.ContainsFunc(n.Order, func(r OrderRow) bool { return r.Bad != "" })
}

// GuidedRow is a pressure of the guided set of dry strokes.
type GuidedRow struct {
	Pressure Pressure
	Missing  int
	Form     Form
}

// Outcome is the screen with the last shot's result, or with the wait for it.
type Outcome struct {
	Frame
	Wait     *Wait // nil: no shot is waited for
	Shot     *Shot // nil: none yet
	Speed    Status
	Target   Number
	Accepted Status // by whom and when; no word: nobody yet
	Accept   Form
	Void     Form // empty action: it is void
	Bind     *Form
	Whole    *Whole // nil: the file did not grow, or nothing is to be asked
	Second   *Form  // one tap: it is a second file of the stroke before
	First    string // that shot's screen
	Assign   string // link to the form; empty when the shot is assigned
	Back     string // that the hit is in the order again

	Another       *Another    // a file that came after the confirmed shot that is shown
	Undecided     []Undecided // further shots of today that nobody has accepted
	MoreUndecided int         // that are not among them
}

// Another is a file that came while the shot before it is not decided.
type Another struct {
	File string
	At   time.Time
	Href string
}

// Undecided is a shot that is neither accepted nor void.
type Undecided struct {
	What string
	At   time.Time
	Href string
}

// BackField names the screen that an answer leads back to: "shot" or "assign";
// empty: the one that comes next by itself.
const BackField = "back"

func (Outcome) screen() string { return "result" }

// Whole asks of a file that grew after a part of it had been taken in whether both
// are one stroke.
type Whole struct {
	Parts []Reference // shots of the earlier states, with what was said of them
	Form  Form        // one tap: it is
}

// Wait is a confirmed shot whose file is to come.
type Wait struct {
	What    string // "FG-A-012, front"
	Confirm Since
	Folders []WaitFolder
	End     Form // not fired
	NoFile  Form // fired, and no file came
	Bad     []Notice
}

// WaitFolder says when a file of a folder counts as finished, and which are not.
type WaitFolder struct {
	Dir, Rule, Problem string
	Files              []string // "shot_0012.csv: still being written"
}

// EndFields asks why no file is to come.
func EndFields() []Field {
	return []Field{{Name: "reason", Label: "Why", Kind: "text", Required: true}}
}

// NoFileFields asks the same of a stroke that was fired at a specimen, and what
// it hit. Choices: "specimen", "location", "condition".
func NoFileFields() []Field {
	return append([]Field{
		{Name: "specimen", Label: "Specimen that was hit", Kind: "list", Help: "It carries the hit, though nothing was measured. Empty: nothing was hit."},
		{Name: "location", Label: "Impact location", Kind: "list"},
		{Name: "condition", Label: "Condition", Kind: "list"},
	}, EndFields()...)
}

// ConfirmFields asks what was set, in the lab's unit of pressure.
func ConfirmFields(unit string) []Field {
	return append([]Field{{Name: "pressure", Label: "Tank pressure that was set, gauge", Unit: unit, Kind: "number", Required: true}}, measuredFields()...)
}

// MeasuredFold is what folds these fields away.
const MeasuredFold = "Speed, temperature, humidity"

// measuredFields ask what a person may read off instruments of their own.
func measuredFields() []Field {
	return []Field{
		{Name: "speed_m_s", Label: "Speed, when no light gate is in the file", Unit: "m/s", Kind: "number", Extra: true},
		{Name: "ambient_c", Label: "Temperature", Unit: "°C", Kind: "number", Extra: true},
		{Name: "relative_humidity_percent", Label: "Relative humidity", Unit: "%", Kind: "number", Extra: true},
	}
}

// AboveField says that a pressure above the maximum allowed was really set.
const AboveField = "above_rated"

// AboveRatedField asks for that; it is offered only when such a pressure was typed.
func AboveRatedField() Field {
	return Field{Name: AboveField, Label: "The gauge did show this; record it", Kind: "checkbox", Help: "For a stroke that was fired at it. It makes nothing safe; the shot carries a flag."}
}

// DoubtField says that what was asked about once is meant so.
const DoubtField = "meant_so"

// MeantSoField asks for that; it is offered only when there was a doubt.
func MeantSoField() Field {
	return Field{Name: DoubtField, Label: "It is meant so; record it", Kind: "checkbox", Help: "What is marked above was asked about once; it is recorded as it was typed."}
}

// FreeFields asks what a shot off the plan is. Choices: "specimen", "location".
func FreeFields(unit string) []Field {
	return append([]Field{
		{Name: "kind", Label: "Kind of stroke", Kind: "select", Options: strokeKinds(), Required: true},
		{Name: "specimen", Label: "Specimen", Kind: "list"},
		{Name: "location", Label: "Impact location", Kind: "list"},
		{Name: "condition", Label: "Condition", Kind: "list"},
		{Name: "target_speed_m_s", Label: "Target speed", Unit: "m/s", Kind: "number"},
		{Name: PadField, Label: "Reference pad of a system check, serial number", Kind: "list"},
	}, ConfirmFields(unit)...)
}

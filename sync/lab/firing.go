package lab

import (
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// The kinds of facts about firing: in which order, what is to come, what came
// of it, and strokes of which there is no file.
const (
	KindRunOrder        record.Kind = "run.order"
	KindExpected        record.Kind = "shot.expected"
	KindExpectedSettled record.Kind = "shot.expected.settled"
	KindAccepted        record.Kind = "shot.accepted"
	KindTakenOut        record.Kind = "specimen.taken_out"
)

// The layout versions of their bodies, as written by this program.
const (
	RunOrderSchema        uint = 1
	ExpectedSchema        uint = 1
	ExpectedSettledSchema uint = 1
	AcceptedSchema        uint = 1
	TakenOutSchema        uint = 1
)

// RunStep is one planned hit of a campaign: the Hit-th on a specimen in a cell.
type RunStep struct {
	Specimen      string  `json:"specimen"`
	Location      string  `json:"location"`
	Condition     string  `json:"condition,omitempty"`
	TargetSpeedMS float64 `json:"target_speed_m_s"`
	Hit           int64   `json:"hit"` // from 1
}

func (s *RunStep) check(c *checks, field string) {
	c.needText(field+", specimen", s.Specimen, MaxText)
	c.needText(field+", location", s.Location, MaxText)
	c.text(field+", condition", s.Condition, MaxText)
	c.number(field+", target_speed_m_s", &s.TargetSpeedMS, 0.001, 100)
	if s.Hit < 1 || s.Hit > 10000 {
		c.add(field+", hit", fmt.Sprintf("the hit %d is not one of a plan", s.Hit), "count the hits from 1")
	}
}

// What a change of the run order does with its step.
const (
	RunSkip   = "skip"
	RunBack   = "back"   // a skipped step is to be fired after all
	RunBefore = "before" // the step moves in front of another one
	RunLast   = "last"   // the step moves to the end
)

// RunOrder changes the order in which the hits of a campaign are fired. The
// plan's own order holds until then; changes hold one after the other, as their
// clocks say.
type RunOrder struct {
	Campaign uuid.UUID `json:"campaign"`
	Do       string    `json:"do"`
	Step     RunStep   `json:"step"`
	Before   *RunStep  `json:"before,omitempty"` // with RunBefore
	Reason   string    `json:"reason,omitempty"`
}

// RecordKind is KindRunOrder.
func (*RunOrder) RecordKind() record.Kind { return KindRunOrder }

// SchemaVersion is RunOrderSchema.
func (*RunOrder) SchemaVersion() uint { return RunOrderSchema }

// Validate gives all faults at once.
func (o *RunOrder) Validate() error {
	c := &checks{what: KindRunOrder}
	c.id("campaign", o.Campaign)
	c.oneOf("do", o.Do, RunSkip, RunBack, RunBefore, RunLast)
	o.Step.check(c, "step")
	switch {
	case o.Do == RunBefore && o.Before == nil:
		c.add("before", "the step to go in front of is missing", "name it")
	case o.Before != nil:
		o.Before.check(c, "before")
	}
	if o.Do == RunSkip {
		c.needText("reason", o.Reason, MaxNote)
	}
	c.text("reason", o.Reason, MaxNote)
	return c.err()
}

// Expected says that a person is about to have a shot fired, and with what. The
// file that the acquisition writes next is that shot's; what its own meta says
// goes before Meta.
type Expected struct {
	Rig            uuid.UUID `json:"rig"`
	Campaign       uuid.UUID `json:"campaign"` // zero: off the plan
	Kind           string    `json:"kind"`
	ToleranceMS    float64   `json:"tolerance_m_s,omitempty"` // 0: the speed is not judged
	EffectiveAt    Time      `json:"effective_at"`            // when it was confirmed
	OutOfChamberAt Time      `json:"out_of_chamber_at,omitempty"`
	Meta                     // flat in the body
	MetaTyped      []string  `json:"meta_typed,omitempty"` // the fields of Meta that a person typed
}

// RecordKind is KindExpected.
func (*Expected) RecordKind() record.Kind { return KindExpected }

// SchemaVersion is ExpectedSchema.
func (*Expected) SchemaVersion() uint { return ExpectedSchema }

// Validate gives all faults at once.
func (e *Expected) Validate() error {
	c := &checks{what: KindExpected}
	c.id("rig", e.Rig)
	c.oneOf("kind", e.Kind, ShotKinds()...)
	c.number("tolerance_m_s", &e.ToleranceMS, 0, 100)
	c.when("effective_at", e.EffectiveAt)
	c.optionalWhen("out_of_chamber_at", e.OutOfChamberAt)
	e.check(c)
	known := metaFields()
	for _, f := range e.MetaTyped {
		if !known[f] {
			c.add("meta_typed", "there is no field "+f, "name a field of meta")
		}
	}
	return c.err()
}

// ExpectedSettled says what became of an expected shot: the shot that was made
// of a file, or with a reason that none is to come. The newest by clock holds.
type ExpectedSettled struct {
	Expected uuid.UUID `json:"expected"`
	Shot     uuid.UUID `json:"shot"` // zero: no file is to come
	Reason   string    `json:"reason,omitempty"`
}

// RecordKind is KindExpectedSettled.
func (*ExpectedSettled) RecordKind() record.Kind { return KindExpectedSettled }

// SchemaVersion is ExpectedSettledSchema.
func (*ExpectedSettled) SchemaVersion() uint { return ExpectedSettledSchema }

// Validate gives all faults at once.
func (e *ExpectedSettled) Validate() error {
	c := &checks{what: KindExpectedSettled}
	c.id("expected", e.Expected)
	if e.Shot == uuid.Nil {
		c.needText("reason", e.Reason, MaxNote)
	}
	c.text("reason", e.Reason, MaxNote)
	return c.err()
}

// Accepted says that a person has looked at a shot's result and lets it stand.
// It changes nothing of what counts.
type Accepted struct {
	Shot uuid.UUID `json:"shot"`
}

// RecordKind is KindAccepted.
func (*Accepted) RecordKind() record.Kind { return KindAccepted }

// SchemaVersion is AcceptedSchema.
func (*Accepted) SchemaVersion() uint { return AcceptedSchema }

// Validate gives all faults at once.
func (a *Accepted) Validate() error {
	c := &checks{what: KindAccepted}
	c.id("shot", a.Shot)
	return c.err()
}

// TakenOut says that a specimen left the conditioning chamber, or with Back
// that it is in there again. The newest by clock holds.
type TakenOut struct {
	Specimen    string `json:"specimen"`
	Condition   string `json:"condition,omitempty"`
	EffectiveAt Time   `json:"effective_at"`
	Back        bool   `json:"back,omitempty"`
}

// RecordKind is KindTakenOut.
func (*TakenOut) RecordKind() record.Kind { return KindTakenOut }

// SchemaVersion is TakenOutSchema.
func (*TakenOut) SchemaVersion() uint { return TakenOutSchema }

// Validate gives all faults at once.
func (o *TakenOut) Validate() error {
	c := &checks{what: KindTakenOut}
	if Fold(o.Specimen) == "" {
		c.add("specimen", "the specimen is missing", "name what left the chamber")
	}
	c.text("specimen", o.Specimen, MaxText)
	c.text("condition", o.Condition, MaxText)
	c.when("effective_at", o.EffectiveAt)
	return c.err()
}

package lab

import (
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// KindCheckLimits is the kind of facts about what the system checks of a rig on
// a reference pad are held against.
const KindCheckLimits record.Kind = "check.limits"

// CheckLimitsSchema is the layout version of its body.
const CheckLimitsSchema uint = 2

// The results of a system check that are judged. The last is not one of a
// shot's own results: it is the peak over the impact speed, so that a check
// fired a little faster is not taken for a changed rig. For a contact that is
// nearly linear the peak grows in proportion to the speed.
const (
	CheckPeak         = "peak_linear_acceleration"
	CheckHIC          = "hic15"
	CheckPeakPerSpeed = "peak_per_speed"
)

// CheckResults lists them, with their units, in the order of a screen.
func CheckResults() []CheckResult {
	return []CheckResult{{CheckPeak, "g"}, {CheckHIC, "1"}, {CheckPeakPerSpeed, "g/(m/s)"}}
}

// CheckResult is a result that is judged, and its unit.
type CheckResult struct{ Name, Unit string }

// CheckLimit bounds one result of a check, in the unit of CheckResults.
type CheckLimit struct {
	Result string   `json:"result"`
	Least  *float64 `json:"least,omitempty"` // nil: no lower limit
	Most   *float64 `json:"most,omitempty"`  // nil: no upper limit
	Source string   `json:"source,omitempty"`
}

// CheckSetup is what checks are fired with, besides their pad: a result on a pad
// depends on all of it.
type CheckSetup struct {
	HeadForm      uuid.UUID `json:"head_form"` // items; zero: nothing is recorded as mounted there
	Neck          uuid.UUID `json:"neck"`
	ImpactorFace  uuid.UUID `json:"impactor_face"`
	TargetSpeedMS *float64  `json:"target_speed_m_s,omitempty"` // nil: not stated
}

// CheckLimits says within what the system checks of a rig on a reference pad
// have to be from EffectiveAt on, whatever the control chart says. Of several
// that are for its setup, or for every one, the latest EffectiveAt up to a
// check holds. With Anew the control chart
// starts anew as well: what it rested on is not comparable any more, as after
// another head form was put on.
type CheckLimits struct {
	Rig         uuid.UUID    `json:"rig"`
	Pad         string       `json:"pad"`              // serial number
	Limits      []CheckLimit `json:"limits,omitempty"` // none: the chart alone judges
	Anew        bool         `json:"anew,omitempty"`
	Reason      string       `json:"reason,omitempty"`
	EffectiveAt Time         `json:"effective_at"`

	// Since version 2: the setup that it is for; nil: every one on the pad.
	Setup *CheckSetup `json:"setup,omitempty"`
}

// RecordKind is KindCheckLimits.
func (*CheckLimits) RecordKind() record.Kind { return KindCheckLimits }

// SchemaVersion is CheckLimitsSchema.
func (*CheckLimits) SchemaVersion() uint { return CheckLimitsSchema }

// Validate gives all faults at once.
func (k *CheckLimits) Validate() error {
	c := &checks{what: KindCheckLimits}
	c.id("rig", k.Rig)
	if Fold(k.Pad) == "" {
		c.add("pad", "the reference pad is missing", "say by its serial number which pad is hit")
	}
	c.text("pad", k.Pad, MaxText)
	c.when("effective_at", k.EffectiveAt)
	var names []string
	for _, r := range CheckResults() {
		names = append(names, r.Name)
	}
	seen := map[string]bool{}
	for i := range k.Limits {
		l := &k.Limits[i]
		c.oneOf("limit, result", l.Result, names...)
		c.number(l.Result+", least", l.Least, 0, 1e9)
		c.number(l.Result+", most", l.Most, 0, 1e9)
		c.text(l.Result+", source", l.Source, MaxText)
		switch {
		case l.Least == nil && l.Most == nil:
			c.add(l.Result, "it limits nothing", "give the least, the most, or both")
		case l.Least != nil && l.Most != nil && *l.Least >= *l.Most:
			c.add(l.Result, fmt.Sprintf("the least, %g, is not below the most, %g", *l.Least, *l.Most), "exchange them")
		}
		if seen[l.Result] {
			c.add(l.Result, "the result stands there twice", "keep one limit a result")
		}
		seen[l.Result] = true
	}
	if k.Setup != nil {
		c.number("setup, target_speed_m_s", k.Setup.TargetSpeedMS, 0.001, 100)
	}
	if k.Anew {
		c.needText("reason", k.Reason, MaxNote)
	}
	c.text("reason", k.Reason, MaxNote)
	return c.err()
}

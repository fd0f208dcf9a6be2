package lab

import (
	"fmt"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// Cell is one planned combination; each specimen of the campaign is hit
// Planned times in it.
type Cell struct {
	Location      string  `json:"location"`
	Condition     string  `json:"condition,omitempty"`
	TargetSpeedMS float64 `json:"target_speed_m_s"`
	ToleranceMS   float64 `json:"tolerance_m_s,omitempty"` // 0: speed is not judged
	Planned       int     `json:"planned"`
}

// Within says whether a speed in mm/s is within the tolerance; where speed is
// not judged, every one is.
func (x *Cell) Within(speedMMS uint32) bool {
	target, tolerance := MillimetresPerSecond(x.TargetSpeedMS), MillimetresPerSecond(x.ToleranceMS)
	return x.ToleranceMS <= 0 || speedMMS >= target-min(target, tolerance) && speedMMS <= target+tolerance
}

// Limit is an acceptance limit of one result, in the unit of the result.
type Limit struct {
	Result string  `json:"result"` // "hic15", …
	Most   float64 `json:"most"`
	Unit   string  `json:"unit"`
	Source string  `json:"source,omitempty"` // where the figure is from, in the words of who set it
}

// Campaign is a plan of shots. Specimens, cells and limits are each one field
// for edits: an edit gives the whole list.
type Campaign struct {
	Name             string   `json:"name"`
	Owner            string   `json:"owner,omitempty"` // department or project
	Specimens        []string `json:"specimens,omitempty"`
	Cells            []Cell   `json:"cells,omitempty"`
	AcceptanceLimits []Limit  `json:"acceptance_limits,omitempty"`
	Note             string   `json:"note,omitempty"`

	// Since version 2: with what a specimen passes when it is inspected.
	InspectionLimits []InspectionLimit `json:"inspection_limits,omitempty"` // one an element
	FaceContactFails bool              `json:"face_contact_fails,omitempty"`

	// Since version 3: the times that a hit has to keep; 0 limits nothing.
	MostOutOfChamberS float64 `json:"most_out_of_chamber_s,omitempty"` // from the chamber to the shot
	LeastRestS        float64 `json:"least_rest_s,omitempty"`          // between two hits on one specimen

	// Since version 4: where and when it is to be fired, for forecasts alone.
	Rig      *uuid.UUID `json:"rig,omitempty"`
	StartsAt Time       `json:"starts_at,omitempty"` // zero: not planned; else EndsAt is too
	EndsAt   Time       `json:"ends_at,omitempty"`
}

// Ambient is the condition of what comes from no chamber, folded.
const Ambient = "ambient"

// Conditioned says that a condition of a hit comes from a chamber or a bath.
func (*Campaign) Conditioned(condition string) bool {
	c := Fold(condition)
	return c != "" && c != Ambient
}

// Has says that a specimen is one of the campaign's.
func (k *Campaign) Has(specimen string) bool {
	name := Fold(specimen)
	return slices.ContainsFunc(k.Specimens, func(s string) bool { return Fold(s) == name })
}

// RecordKind is KindCampaign.
func (*Campaign) RecordKind() record.Kind { return KindCampaign }

// SchemaVersion is CampaignSchema.
func (*Campaign) SchemaVersion() uint { return CampaignSchema }

// Bounds of one campaign, so that it fits in a record.
const (
	MaxSpecimens = 300
	MaxCells     = 100
	MaxLimits    = 50
)

// Validate gives all faults at once.
func (k *Campaign) Validate() error {
	c := &checks{what: KindCampaign}
	c.needText("name", k.Name, MaxText)
	c.text("owner", k.Owner, MaxText)
	c.text("note", k.Note, MaxNote)
	if n := len(k.Specimens); n > MaxSpecimens {
		c.add("specimens", fmt.Sprintf("%d specimens, the most is %d", n, MaxSpecimens), "divide the campaign")
	}
	if n := len(k.Cells); n > MaxCells {
		c.add("cells", fmt.Sprintf("%d cells, the most is %d", n, MaxCells), "divide the campaign")
	}
	if n := len(k.AcceptanceLimits); n > MaxLimits {
		c.add("acceptance_limits", fmt.Sprintf("%d limits, the most is %d", n, MaxLimits), "keep one limit a result")
	}
	c.number("most_out_of_chamber_s", &k.MostOutOfChamberS, 0, 1e6)
	c.number("least_rest_s", &k.LeastRestS, 0, 1e7)
	c.optionalWhen("starts_at", k.StartsAt)
	c.optionalWhen("ends_at", k.EndsAt)
	if (k.StartsAt == 0) != (k.EndsAt == 0) || k.EndsAt < k.StartsAt {
		c.add("ends_at", "the campaign has only one of its two dates, or ends before it begins", "give the first and the last day, or neither")
	}
	k.checkSpecimens(c)
	k.checkCells(c)
	k.checkInspectionLimits(c)
	for i := range k.AcceptanceLimits {
		l := &k.AcceptanceLimits[i]
		c.needText("acceptance limit, result", l.Result, MaxText)
		c.text("acceptance limit, unit", l.Unit, MaxText)
		c.text("acceptance limit, source", l.Source, MaxText)
		c.number("acceptance limit "+l.Result, &l.Most, -1e12, 1e12)
	}
	return c.err()
}

func (k *Campaign) checkSpecimens(c *checks) {
	seen := map[string]bool{}
	for _, s := range k.Specimens {
		c.needText("specimens", s, MaxText)
		if key := Fold(s); seen[key] {
			c.add("specimens", fmt.Sprintf("specimen %q stands there twice", s), "keep it once")
		} else {
			seen[key] = true
		}
	}
}

func (k *Campaign) checkCells(c *checks) {
	type cell struct {
		location, condition string
		mms                 uint32
	}
	seen := map[cell]bool{}
	for i := range k.Cells {
		x := &k.Cells[i]
		at := fmt.Sprintf("cell %d", i+1)
		c.needText(at+", location", x.Location, MaxText)
		c.text(at+", condition", x.Condition, MaxText)
		c.number(at+", target_speed_m_s", &x.TargetSpeedMS, 0.001, 100)
		c.number(at+", tolerance_m_s", &x.ToleranceMS, 0, 100)
		if x.Planned < 1 || x.Planned > 10000 {
			c.add(at+", planned", fmt.Sprintf("%d planned shots", x.Planned), "plan between 1 and 10000 a specimen")
		}
		key := cell{Fold(x.Location), Fold(x.Condition), MillimetresPerSecond(x.TargetSpeedMS)}
		if seen[key] {
			c.add(at, "the same location, condition and target speed stand there twice", "plan them as one cell")
		}
		seen[key] = true
	}
}

// Named gives a lab its name; the newest by clock holds.
type Named struct {
	Name string `json:"name"`
}

// RecordKind is KindNamed.
func (*Named) RecordKind() record.Kind { return KindNamed }

// SchemaVersion is NamedSchema.
func (*Named) SchemaVersion() uint { return NamedSchema }

// Validate gives all faults at once.
func (n *Named) Validate() error {
	c := &checks{what: KindNamed}
	c.needText("name", n.Name, MaxText)
	return c.err()
}

package lab

import (
	"github.com/google/uuid"

	"thudbook/sync/record"
)

// The kinds of facts about how a rig is fitted out.
const (
	KindAbsent record.Kind = "position.absent"
	KindRated  record.Kind = "rated.pressure"
)

// The layout versions of their bodies.
const (
	AbsentSchema uint = 1
	RatedSchema  uint = 1
)

// Absent says that a rig does not have a position, as one without a light gate,
// so that nothing is missed there. It says nothing while something is mounted
// there, and is taken back by withdrawing it.
type Absent struct {
	Rig         uuid.UUID `json:"rig"`
	Position    string    `json:"position"`
	Reason      string    `json:"reason"`
	EffectiveAt Time      `json:"effective_at"`
}

// RecordKind is KindAbsent.
func (*Absent) RecordKind() record.Kind { return KindAbsent }

// SchemaVersion is AbsentSchema.
func (*Absent) SchemaVersion() uint { return AbsentSchema }

// Validate gives all faults at once.
func (a *Absent) Validate() error {
	c := &checks{what: KindAbsent}
	c.id("rig", a.Rig)
	c.needText("position", a.Position, MaxText)
	c.needText("reason", a.Reason, MaxNote)
	c.when("effective_at", a.EffectiveAt)
	return c.err()
}

// MostPressureKPa is the largest tank pressure that is taken for one.
const MostPressureKPa = 20_000

// Rated is the maximum allowed pressure of a rig's tank from EffectiveAt on, as
// it is marked on the vessel or its relief valve, the lower of the two. Of
// several the latest EffectiveAt holds.
type Rated struct {
	Rig              uuid.UUID `json:"rig"`
	PressureKPaGauge float64   `json:"pressure_kpa_gauge"`
	MarkedOn         string    `json:"marked_on"` // where it was read, as "relief valve"
	EffectiveAt      Time      `json:"effective_at"`
}

// RecordKind is KindRated.
func (*Rated) RecordKind() record.Kind { return KindRated }

// SchemaVersion is RatedSchema.
func (*Rated) SchemaVersion() uint { return RatedSchema }

// Validate gives all faults at once.
func (r *Rated) Validate() error {
	c := &checks{what: KindRated}
	c.id("rig", r.Rig)
	if !(r.PressureKPaGauge > 0 && r.PressureKPaGauge <= MostPressureKPa) {
		c.add("pressure_kpa_gauge", "the pressure is not above zero and up to 20 MPa", "give the gauge pressure that is marked, in its unit")
	}
	c.needText("marked_on", r.MarkedOn, MaxText)
	c.when("effective_at", r.EffectiveAt)
	return c.err()
}

package lab

import (
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// The kinds of facts about strokes without a file, and the unit they are set in.
const (
	KindStrokes     record.Kind = "strokes"
	KindCounterRead record.Kind = "counter.read"
	KindDisplay     record.Kind = "lab.display"
)

// The layout versions of their bodies, as written by this program.
const (
	StrokesSchema     uint = 2
	CounterReadSchema uint = 1
	DisplaySchema     uint = 1
)

// StrokeNoFile is a stroke on something of which no file came; ShotDry is the
// other kind that strokes without a file have.
const StrokeNoFile = "no_file"

// MaxStrokes bounds the strokes of one entry.
const MaxStrokes = 1000

// Strokes are strokes of which there is no file: they wear the ram all the same.
type Strokes struct {
	Rig                  uuid.UUID `json:"rig"`
	Kind                 string    `json:"kind"` // ShotDry or StrokeNoFile
	Number               int64     `json:"number"`
	TankPressureKPaGauge *float64  `json:"tank_pressure_kpa_gauge,omitempty"`
	EffectiveAt          Time      `json:"effective_at"` // of the last of them
	Reason               string    `json:"reason,omitempty"`

	// Since version 2, with StrokeNoFile: what was hit, though nothing was measured.
	Specimen      string   `json:"specimen,omitempty"`
	Location      string   `json:"location,omitempty"`
	Condition     string   `json:"condition,omitempty"`
	TargetSpeedMS *float64 `json:"target_speed_m_s,omitempty"`
}

// HitSpecimen says that the stroke hit a specimen, of which no file tells.
func (s *Strokes) HitSpecimen() bool { return s.Kind == StrokeNoFile && Fold(s.Specimen) != "" }

// RecordKind is KindStrokes.
func (*Strokes) RecordKind() record.Kind { return KindStrokes }

// SchemaVersion is StrokesSchema.
func (*Strokes) SchemaVersion() uint { return StrokesSchema }

// Validate gives all faults at once.
func (s *Strokes) Validate() error {
	c := &checks{what: KindStrokes}
	c.id("rig", s.Rig)
	c.oneOf("kind", s.Kind, ShotDry, StrokeNoFile)
	if s.Number < 1 || s.Number > MaxStrokes {
		c.add("number", fmt.Sprintf("%d strokes", s.Number), fmt.Sprintf("give between 1 and %d", MaxStrokes))
	}
	c.number("tank_pressure_kpa_gauge", s.TankPressureKPaGauge, 0, 20000)
	c.when("effective_at", s.EffectiveAt)
	c.text("reason", s.Reason, MaxNote)
	c.text("specimen", s.Specimen, MaxText)
	c.text("location", s.Location, MaxText)
	c.text("condition", s.Condition, MaxText)
	c.number("target_speed_m_s", s.TargetSpeedMS, 0, 100)
	if s.Kind == ShotDry && s.Specimen+s.Location+s.Condition != "" {
		c.add("specimen", "a dry stroke hits nothing", "leave specimen, location and condition out, or say that it was fired at the specimen and no file came")
	}
	return c.err()
}

// CounterRead is what the controller's own counter of strokes showed. Strokes
// that it counted since the reading before, and that nothing here tells of, are
// unaccounted; Reason says why that may be.
type CounterRead struct {
	Rig         uuid.UUID `json:"rig"`
	Counter     int64     `json:"counter"`
	EffectiveAt Time      `json:"effective_at"`
	Reason      string    `json:"reason,omitempty"`
}

// RecordKind is KindCounterRead.
func (*CounterRead) RecordKind() record.Kind { return KindCounterRead }

// SchemaVersion is CounterReadSchema.
func (*CounterRead) SchemaVersion() uint { return CounterReadSchema }

// Validate gives all faults at once.
func (k *CounterRead) Validate() error {
	c := &checks{what: KindCounterRead}
	c.id("rig", k.Rig)
	c.count("counter", k.Counter)
	if k.Counter > maxCounter {
		c.add("counter", fmt.Sprintf("%d strokes are more than any counter holds", k.Counter), "check the number")
	}
	c.when("effective_at", k.EffectiveAt)
	c.text("reason", k.Reason, MaxNote)
	return c.err()
}

// PressureUnits are the units in which a lab may have pressures shown beside kPa.
func PressureUnits() []string { return []string{"kPa", "psi", "bar"} }

// Display says in which unit a lab sets the tank's pressure. Everything is
// stored in kPa. The newest by clock holds.
type Display struct {
	Pressure string `json:"pressure"`
}

// RecordKind is KindDisplay.
func (*Display) RecordKind() record.Kind { return KindDisplay }

// SchemaVersion is DisplaySchema.
func (*Display) SchemaVersion() uint { return DisplaySchema }

// Validate gives all faults at once.
func (d *Display) Validate() error {
	c := &checks{what: KindDisplay}
	c.oneOf("pressure", d.Pressure, PressureUnits()...)
	return c.err()
}

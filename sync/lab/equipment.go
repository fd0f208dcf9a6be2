package lab

import (
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// The classes of equipment that the programs know; others are free text.
const (
	ClassRam                = "ram"
	ClassImpactorFace       = "impactor face"
	ClassHeadForm           = "head form"
	ClassNeck               = "neck"
	ClassSensor             = "sensor"
	ClassLightGate          = "light gate"
	ClassPressureTransducer = "pressure transducer"
)

// Rig is a place where shots are fired.
type Rig struct {
	Name string `json:"name"`
}

// RecordKind is KindRig.
func (*Rig) RecordKind() record.Kind { return KindRig }

// SchemaVersion is RigSchema.
func (*Rig) SchemaVersion() uint { return RigSchema }

// Validate gives all faults at once.
func (r *Rig) Validate() error {
	c := &checks{what: KindRig}
	c.needText("name", r.Name, MaxText)
	return c.err()
}

// Item is one piece of equipment, known by its serial number.
type Item struct {
	Class               string `json:"class"`
	Serial              string `json:"serial"`
	Name                string `json:"name"`
	Maker               string `json:"maker,omitempty"`
	ServiceEveryStrokes int64  `json:"service_every_strokes,omitempty"` // 0: no interval
	OpeningStrokes      int64  `json:"opening_strokes,omitempty"`       // before the register began
	CalibrationRequired bool   `json:"calibration_required,omitempty"`

	// Since version 2; a record of version 1 has none of them.
	AssetNumber      string `json:"asset_number,omitempty"` // the lab's own number
	Model            string `json:"model,omitempty"`
	ServiceEveryDays int64  `json:"service_every_days,omitempty"` // 0: not by time; with strokes, whichever comes first
	WarnStrokes      int64  `json:"warn_strokes,omitempty"`       // before the service is due; 0: the last tenth of the interval
	WarnDays         int64  `json:"warn_days,omitempty"`          // 0: the last tenth

	// Since version 3; see OwnPlan.
	ServiceAfterCheck bool `json:"service_after_failed_check,omitempty"`
	ServiceAfterDrift bool `json:"service_after_speed_drift,omitempty"`
	NoServicePlan     bool `json:"no_service_plan,omitempty"` // not even that of its class
}

// RecordKind is KindItem.
func (*Item) RecordKind() record.Kind { return KindItem }

// SchemaVersion is ItemSchema.
func (*Item) SchemaVersion() uint { return ItemSchema }

// Validate gives all faults at once.
func (i *Item) Validate() error {
	c := &checks{what: KindItem}
	c.needText("class", i.Class, MaxText)
	c.needText("serial", i.Serial, MaxText)
	c.text("name", i.Name, MaxText)
	c.text("maker", i.Maker, MaxText)
	c.count("service_every_strokes", i.ServiceEveryStrokes)
	c.count("opening_strokes", i.OpeningStrokes)
	c.text("asset_number", i.AssetNumber, MaxText)
	c.text("model", i.Model, MaxText)
	c.count("service_every_days", i.ServiceEveryDays)
	c.count("warn_strokes", i.WarnStrokes)
	c.count("warn_days", i.WarnDays)
	c.interval("service_every_days", i.ServiceEveryDays)
	if i.NoServicePlan && (i.ServiceEveryStrokes > 0 || i.ServiceEveryDays > 0 || i.ServiceAfterCheck || i.ServiceAfterDrift) {
		c.add("no_service_plan", "the item is to have no plan, and has one", "take the plan's figures away, or leave this out")
	}
	return c.err()
}

// maxDays bounds an interval, so that dates computed from it stay dates.
const maxDays = 36_525

// Mounting says that an item sits at a position of a rig from EffectiveAt on;
// the zero Item says that the position is empty. An item is in one place at a
// time: mounted elsewhere, it has left the place before. Only the case of a sensor
// with several axes sits at several positions of one rig, see Also.
type Mounting struct {
	Rig         uuid.UUID `json:"rig"`
	Position    string    `json:"position"` // "ram", "ax", "gate", …; the map binds columns to positions
	Item        uuid.UUID `json:"item"`
	EffectiveAt Time      `json:"effective_at"`

	// Since version 2: another axis of the item measures here, and it stays where it
	// sits at this rig already.
	Also bool `json:"also,omitempty"`
}

// Ends says that an item which was mounted as o says has left that place when it is
// mounted as m says later.
func (m *Mounting) Ends(o *Mounting) bool { return !m.Also || m.Rig != o.Rig }

// RecordKind is KindMounting.
func (*Mounting) RecordKind() record.Kind { return KindMounting }

// SchemaVersion is MountingSchema.
func (*Mounting) SchemaVersion() uint { return MountingSchema }

// Validate gives all faults at once.
func (m *Mounting) Validate() error {
	c := &checks{what: KindMounting}
	c.id("rig", m.Rig)
	c.needText("position", m.Position, MaxText)
	c.when("effective_at", m.EffectiveAt)
	if m.Also && m.Item == uuid.Nil {
		c.add("also", "a position that is empty has no axis of an item", "name the item, or leave this out")
	}
	return c.err()
}

// Service says that an item was serviced; its strokes since service start anew.
type Service struct {
	Item        uuid.UUID `json:"item"`
	EffectiveAt Time      `json:"effective_at"`
	Note        string    `json:"note,omitempty"`

	// Since version 2.
	CounterStrokes *int64 `json:"counter_strokes,omitempty"` // as the machine's own counter showed

	// Since version 3.
	Parts           []string `json:"parts,omitempty"` // that were changed
	DurationMinutes *float64 `json:"duration_minutes,omitempty"`
	DoneBy          string   `json:"done_by,omitempty"` // an id, initials or a firm; the record's author wrote it down

	// Since version 4.
	WorkOrder *uuid.UUID `json:"work_order,omitempty"` // that it carries out, which is done by this
	Used      []Part     `json:"used,omitempty"`       // parts with number and quantity; Parts are those without
}

// RecordKind is KindService.
func (*Service) RecordKind() record.Kind { return KindService }

// SchemaVersion is ServiceSchema.
func (*Service) SchemaVersion() uint { return ServiceSchema }

// Validate gives all faults at once.
func (s *Service) Validate() error {
	c := &checks{what: KindService}
	c.id("item", s.Item)
	c.when("effective_at", s.EffectiveAt)
	c.text("note", s.Note, MaxNote)
	if s.CounterStrokes != nil {
		c.count("counter_strokes", *s.CounterStrokes)
	}
	c.parts(s.Parts)
	c.number("duration_minutes", s.DurationMinutes, 0, 1e6)
	c.text("done_by", s.DoneBy, MaxText)
	c.spares("used", s.Used)
	if s.WorkOrder != nil {
		c.id("work_order", *s.WorkOrder)
	}
	return c.err()
}

// Calibration is one certificate: from EffectiveAt on the item is in
// calibration, until DueAt or until the next one.
type Calibration struct {
	Item                       uuid.UUID `json:"item"`
	EffectiveAt                Time      `json:"effective_at"` // when it was calibrated
	DueAt                      Time      `json:"due_at"`
	Certificate                string    `json:"certificate"`
	Sensitivity                *float64  `json:"sensitivity,omitempty"`
	SensitivityUnit            string    `json:"sensitivity_unit,omitempty"` // "mV/g", …
	ExpandedUncertaintyPercent *float64  `json:"expanded_uncertainty_percent,omitempty"`

	// Since version 2: what the certificate says it is for, to be held against the item.
	CertifiedSerial string `json:"certified_serial,omitempty"`
	CertifiedClass  string `json:"certified_class,omitempty"`

	// Since version 3. Sensitivity is as left; as found is how the sensor came in,
	// in SensitivityUnit: nil, it was not adjusted; see AsFoundNotReported.
	AsFoundSensitivity  *float64 `json:"as_found_sensitivity,omitempty"`
	AsFoundLimitPercent *float64 `json:"as_found_limit_percent,omitempty"` // of the sensitivity before
	Laboratory          string   `json:"laboratory,omitempty"`
	ReferenceStandard   string   `json:"reference_standard,omitempty"` // what it was compared with

	// Since version 4: it was adjusted, and the certificate says only how it was left,
	// so that nothing is known of the time before.
	AsFoundNotReported bool `json:"as_found_not_reported,omitempty"`
}

// RecordKind is KindCalibration.
func (*Calibration) RecordKind() record.Kind { return KindCalibration }

// SchemaVersion is CalibrationSchema.
func (*Calibration) SchemaVersion() uint { return CalibrationSchema }

// Validate gives all faults at once.
func (k *Calibration) Validate() error {
	c := &checks{what: KindCalibration}
	c.id("item", k.Item)
	c.when("effective_at", k.EffectiveAt)
	c.when("due_at", k.DueAt)
	if k.DueAt != 0 && k.DueAt < k.EffectiveAt {
		c.add("due_at", "the calibration is due before it was made", "check both dates on the certificate")
	}
	c.needText("certificate", k.Certificate, MaxText)
	c.number("sensitivity", k.Sensitivity, -1e12, 1e12)
	c.number("expanded_uncertainty_percent", k.ExpandedUncertaintyPercent, 0, 100)
	c.text("sensitivity_unit", k.SensitivityUnit, MaxText)
	c.text("certified_serial", k.CertifiedSerial, MaxText)
	c.text("certified_class", k.CertifiedClass, MaxText)
	c.number("as_found_sensitivity", k.AsFoundSensitivity, -1e12, 1e12)
	c.number("as_found_limit_percent", k.AsFoundLimitPercent, 0, 100)
	c.text("laboratory", k.Laboratory, MaxText)
	c.text("reference_standard", k.ReferenceStandard, MaxText)
	if k.AsFoundNotReported && k.AsFoundSensitivity != nil {
		c.add("as_found_not_reported", "a value as found is given", "leave one of the two out")
	}
	if s := k.AsFoundSensitivity; s != nil && k.Sensitivity == nil {
		c.add("sensitivity", "there is a sensitivity as found and none as left", "give both")
	} else if s != nil && !(*s / *k.Sensitivity > 0.1 && *s / *k.Sensitivity < 10) {
		c.add("as_found_sensitivity", fmt.Sprintf("%g as found does not go with %g as left", *s, *k.Sensitivity), "check sign, decimal point and unit; a sensor without a signal is no calibration but a defect")
	}
	if k.Sensitivity != nil && k.SensitivityUnit == "" {
		c.add("sensitivity_unit", "the sensitivity has no unit", `give it as on the certificate, such as "mV/g"`)
	}
	if k.Sensitivity != nil && *k.Sensitivity == 0 {
		c.add("sensitivity", "the sensitivity is zero", "give the certificate's value")
	}
	return c.err()
}

// Withdrawn says that an entry was a mistake, or with Lifted that it was not.
// It serves rigs, items, their states, mountings, services, corrections,
// calibrations, reviews of a sensitivity, campaigns, people, strokes without a file and readings of a counter.
// The newest by clock holds.
type Withdrawn struct {
	Doc     uuid.UUID   `json:"doc"`
	DocKind record.Kind `json:"doc_kind"`
	Reason  string      `json:"reason"`
	Lifted  bool        `json:"lifted,omitempty"`
}

// RecordKind is KindWithdrawn.
func (*Withdrawn) RecordKind() record.Kind { return KindWithdrawn }

// SchemaVersion is WithdrawnSchema.
func (*Withdrawn) SchemaVersion() uint { return WithdrawnSchema }

// Validate gives all faults at once.
func (w *Withdrawn) Validate() error {
	c := &checks{what: KindWithdrawn}
	c.id("doc", w.Doc)
	c.oneOf("doc_kind", string(w.DocKind), string(KindRig), string(KindItem), string(KindMounting), string(KindReview),
		string(KindService), string(KindCalibration), string(KindCampaign), string(KindItemState), string(KindWentOn), string(KindCorrection),
		string(KindStrokes), string(KindCounterRead), string(KindPerson), string(KindCheckLimits), string(KindAbsent), string(KindRated), string(KindPhoto), string(KindDocument))
	c.needText("reason", w.Reason, MaxNote)
	return c.err()
}

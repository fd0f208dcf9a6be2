package lab

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// Further classes of equipment: other machines of a lab, what measures and
// records, and what the law on pressure equipment and machinery watches.
const (
	ClassDropCarriage    = "drop carriage"
	ClassPendulum        = "pendulum"
	ClassCamera          = "camera"
	ClassAcquisitionUnit = "acquisition unit"
	ClassReferencePad    = "reference pad"
	ClassAirReceiver     = "air receiver"
	ClassReliefValve     = "relief valve"
	ClassHose            = "hose"
	ClassGuardSwitch     = "guard switch"
)

// Classes lists the classes that the programs know, in the order of a form.
func Classes() []string {
	return []string{
		ClassRam, ClassDropCarriage, ClassPendulum, ClassImpactorFace, ClassHeadForm, ClassNeck, ClassReferencePad,
		ClassSensor, ClassLightGate, ClassPressureTransducer, ClassCamera, ClassAcquisitionUnit,
		ClassAirReceiver, ClassReliefValve, ClassHose, ClassGuardSwitch,
	}
}

// The states of an item. An item of which none was stated is in service.
const (
	StateInService     = "in service"
	StateQuarantined   = "quarantined"
	StateAtCalibration = "at calibration"
	StateRetired       = "retired"
)

// States lists them.
func States() []string {
	return []string{StateInService, StateQuarantined, StateAtCalibration, StateRetired}
}

// ItemState says in which state an item is from EffectiveAt on, and where it is
// while it is not mounted. All that was stated stays: it is the item's history.
type ItemState struct {
	Item        uuid.UUID `json:"item"`
	State       string    `json:"state"`
	Location    string    `json:"location,omitempty"` // as "store room, shelf 3"
	EffectiveAt Time      `json:"effective_at"`
	Reason      string    `json:"reason"`
}

// RecordKind is KindItemState.
func (*ItemState) RecordKind() record.Kind { return KindItemState }

// SchemaVersion is ItemStateSchema.
func (*ItemState) SchemaVersion() uint { return ItemStateSchema }

// Validate gives all faults at once.
func (s *ItemState) Validate() error {
	c := &checks{what: KindItemState}
	c.id("item", s.Item)
	c.oneOf("state", s.State, States()...)
	c.text("location", s.Location, MaxText)
	c.when("effective_at", s.EffectiveAt)
	c.needText("reason", s.Reason, MaxNote)
	return c.err()
}

// Correction adds strokes to an item's counter, or takes some off, from
// EffectiveAt on: strokes that nobody recorded, or that another item made.
type Correction struct {
	Item        uuid.UUID `json:"item"`
	Strokes     int64     `json:"strokes"` // added; negative: taken off
	EffectiveAt Time      `json:"effective_at"`
	Reason      string    `json:"reason"`
}

// RecordKind is KindCorrection.
func (*Correction) RecordKind() record.Kind { return KindCorrection }

// SchemaVersion is CorrectionSchema.
func (*Correction) SchemaVersion() uint { return CorrectionSchema }

// maxCounter bounds counters, so that sums of them stay far from overflow.
const maxCounter = 1_000_000_000

// Validate gives all faults at once.
func (k *Correction) Validate() error {
	c := &checks{what: KindCorrection}
	c.id("item", k.Item)
	if k.Strokes == 0 {
		c.add("strokes", "the correction changes nothing", "give the strokes to add, or with a minus those to take off")
	}
	if k.Strokes > maxCounter || k.Strokes < -maxCounter {
		c.add("strokes", fmt.Sprintf("%d strokes are more than any counter holds", k.Strokes), "check the number")
	}
	c.when("effective_at", k.EffectiveAt)
	c.needText("reason", k.Reason, MaxNote)
	return c.err()
}

// Doubts names what does not fit between a certificate and the one before it
// (nil: there is none) or its item. An empty answer is no proof that the
// certificate is right; each doubt is one for a person to look at.
func (k *Calibration) Doubts(item *Item, before *Calibration) []Doubt {
	var out []Doubt
	add := func(field, what, fix string) { out = append(out, Doubt{field, what, fix}) }
	if k.CertifiedSerial != "" && Fold(k.CertifiedSerial) != Fold(item.Serial) {
		add("certified_serial", fmt.Sprintf("the certificate is for serial number %s, the item has %s", k.CertifiedSerial, item.Serial),
			"choose the item that the certificate names")
	}
	if k.CertifiedClass != "" && Fold(k.CertifiedClass) != Fold(item.Class) {
		add("certified_class", fmt.Sprintf("the certificate is for a %s, the item is a %s", k.CertifiedClass, item.Class),
			"choose the item that the certificate names")
	}
	if k.Sensitivity != nil && senses(item.Class) == never {
		add("sensitivity", fmt.Sprintf("a %s has no sensitivity", item.Class), "choose the item that the certificate names, or leave the sensitivity empty")
	} else if fits := unitFits(item.Class, k.SensitivityUnit); k.Sensitivity != nil && !fits {
		add("sensitivity_unit", fmt.Sprintf("a %s has no sensitivity in %s", item.Class, k.SensitivityUnit),
			"check the unit, and that the certificate is for this item")
	}
	if k.Sensitivity == nil {
		return out
	}
	if before == nil || before.Sensitivity == nil {
		if *k.Sensitivity < 0 {
			add("sensitivity", fmt.Sprintf("%g is below zero, and no certificate before says so", *k.Sensitivity),
				"check the sign; a sensor that is turned round is a matter of the channel map")
		}
		return out
	}
	if Fold(k.SensitivityUnit) != Fold(before.SensitivityUnit) {
		add("sensitivity_unit", fmt.Sprintf("the certificate before (%s) has the sensitivity in %s, this one in %s", before.Certificate, before.SensitivityUnit, k.SensitivityUnit),
			"convert it to the unit used so far, or confirm the new one")
		return out
	}
	switch ratio := *k.Sensitivity / *before.Sensitivity; {
	case ratio < 0:
		add("sensitivity", fmt.Sprintf("%g has the other sign than %g on certificate %s", *k.Sensitivity, *before.Sensitivity, before.Certificate),
			"check the sign; a sensor that is turned round is a matter of the channel map")
	case math.Abs(math.Log10(ratio)) > 1:
		add("sensitivity", fmt.Sprintf("%g is %.3g times the %g of certificate %s", *k.Sensitivity, ratio, *before.Sensitivity, before.Certificate),
			"check the decimal point and the unit, as mV and V")
	}
	return out
}

// Doubt is one thing that does not fit, with what to do about it.
type Doubt struct{ Field, What, Fix string }

// sensing says whether an item of a class may have a sensitivity.
type sensing int

const (
	perhaps sensing = iota // it measures, or its class is not known
	never
)

func senses(class string) sensing {
	switch Fold(class) {
	case ClassRam, ClassDropCarriage, ClassPendulum, ClassImpactorFace, ClassHeadForm, ClassNeck, ClassReferencePad, ClassCamera,
		ClassAirReceiver, ClassReliefValve, ClassHose, ClassGuardSwitch:
		return never
	}
	return perhaps
}

// unitFits says whether a sensitivity unit may belong to a class: what stands
// below the stroke is the quantity that is measured. Unknown units fit.
func unitFits(class, unit string) bool {
	_, per, ok := strings.Cut(strings.ToLower(unit), "/")
	if !ok {
		return true
	}
	per = strings.Trim(strings.TrimSpace(per), "()")
	motion := slices.Contains([]string{"g", "gn", "m/s2", "m/s²", "m/s^2", "rad/s", "deg/s", "°/s", "krad/s"}, per)
	pressure := slices.Contains([]string{"pa", "kpa", "mpa", "bar", "mbar", "psi"}, per)
	switch class {
	case ClassPressureTransducer:
		return !motion
	case ClassSensor:
		return !pressure
	case ClassLightGate:
		return !motion && !pressure
	}
	return true
}

// Title is how an item is called in lists: its name or class, with its serial number.
func (i *Item) Title() string { return cmp.Or(i.Name, i.Class) + ", " + i.Serial }

package present

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Recorded gives what is recorded of a shot as the values of AssignFields, the
// pressure in the unit in.
func Recorded(r *view.ShotRow, in string) map[string]string {
	m := &r.Shot.Meta
	return map[string]string{"kind": r.Shot.Kind, "specimen": m.Specimen, "location": m.Location, "condition": m.Condition, "operator": m.Operator,
		"target_speed_m_s": plain(m.TargetSpeedMS), "tank_pressure_kpa_gauge": plainPressure(m.TankPressureKPaGauge, in),
		"speed_m_s": plain(m.SpeedMS), "ambient_c": plain(m.AmbientC), "relative_humidity_percent": plain(m.RelativeHumidityPercent)}
}

// plainPressure keeps more digits than a screen shows: a form that is saved as it
// came must not look like a correction.
func plainPressure(kpa *float64, in string) string {
	if kpa == nil || in == "kPa" {
		return plain(kpa)
	}
	v := math.Round(inUnit(*kpa, "kPa", in)*1000) / 1000
	return plain(&v)
}

func plain(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// Conditions are the usual ones, to choose from.
func Conditions() []page.Choice {
	return []page.Choice{{Value: "ambient", Text: "ambient"}, {Value: "hot", Text: "hot"}, {Value: "cold", Text: "cold"}, {Value: "wet", Text: "wet"}}
}

// CorrectForm is the form that corrects a shot, filled with what is recorded;
// its pressure is typed in the unit in.
func CorrectForm(r *view.ShotRow, in string) *page.Form {
	id := r.ID.String()
	return &page.Form{ID: "correct", Action: page.CorrectPath(id), Fields: page.AssignFields(in), Submit: "Save the correction", Values: Recorded(r, in), Fold: page.MeasuredFold,
		Choices: map[string][]page.Choice{"condition": Conditions()}, Hidden: map[string]string{page.SeenField: amend.Seen(r), page.UnitField: in}}
}

// VoidForm makes a shot void, or counts a void one again.
func VoidForm(r *view.ShotRow) *page.Form {
	f := &page.Form{ID: "void", Action: page.VoidPath(r.ID.String()), Fields: page.VoidFields(), Submit: "Make it void",
		Hidden: map[string]string{page.SeenField: amend.Seen(r), "void": "yes"}}
	if r.Void() {
		f.Fields, f.Submit = page.LiftFields(), "Count it again"
		f.Hidden["void"] = "no"
	}
	return f
}

// Corrections reads the values of AssignFields as typed, the pressure in the unit
// in, into values as they are recorded, in kPa; an empty field is nil, not
// recorded. One that was not asked, and a pressure that still reads as r has it, are
// left as they are. Faults are by field.
func Corrections(r *view.ShotRow, typed map[string]string, in string) (want map[string]any, faults map[string]string) {
	want, faults = map[string]any{}, map[string]string{}
	for _, f := range page.AssignFields(in) {
		text, asked := typed[f.Name]
		switch {
		case !asked:
		case text == "":
			want[f.Name] = nil
		case f.Kind != "number":
			want[f.Name] = text
		case f.Name == "tank_pressure_kpa_gauge":
			v, err := correctPressure(r.Shot.TankPressureKPaGauge, text, in)
			if err != nil {
				faults[f.Name] = err.Error()
			}
			want[f.Name] = v
		default:
			v, err := page.ParseDecimal(text)
			if low, high := bounds(f.Name); err == nil && (v < low || v > high) {
				err = fmt.Errorf("%g is outside %g to %g %s; check the number and its unit", v, low, high, f.Unit)
			}
			if err != nil {
				faults[f.Name] = err.Error()
			}
			want[f.Name] = v
		}
	}
	if !slices.Contains(lab.ShotKinds(), typed["kind"]) {
		faults["kind"] = "Choose one of the kinds."
	}
	return want, faults
}

// bounds catch a wrong unit or a slipped decimal point, nothing finer.
func bounds(field string) (low, high float64) {
	switch field {
	case "ambient_c":
		return -90, 100
	case "relative_humidity_percent":
		return 0, 100
	}
	return 0.1, 100 // a speed
}

// correctPressure reads a gauge pressure in kPa that was typed in the unit in.
func correctPressure(now *float64, text, in string) (float64, error) {
	if now != nil && text == plainPressure(now, in) {
		return *now, nil
	}
	if !slices.Contains(lab.PressureUnits(), in) {
		return 0, fmt.Errorf("the form names the unit %q, which is none of %s; reload the page", in, strings.Join(lab.PressureUnits(), ", "))
	}
	v, err := page.ParseDecimal(text)
	if most := inUnit(lab.MostPressureKPa, "kPa", in); err == nil && (v < 0 || v > most) {
		err = fmt.Errorf("%g is outside 0 to %s %s; check the number and its unit", v, PressureText(lab.MostPressureKPa, in), in)
	}
	return inUnit(v, in, "kPa"), err
}

// FieldAt finds the field of AssignFields that a fault names.
func FieldAt(p *problem.Error) string {
	for _, f := range page.AssignFields("kPa") {
		if len(p.Where) >= len(f.Name) && p.Where[len(p.Where)-len(f.Name):] == f.Name {
			return f.Name
		}
	}
	return "kind"
}

// Keep names an edit to SettlePath; ParseKeep reads it.
func Keep(r lab.EditRef) string { return fmt.Sprintf("%s/%d/%d", r.Node, r.Epoch, r.Seq) }

// ParseKeep reads what Keep wrote.
func ParseKeep(s string, among map[string]view.Edit, field string) (lab.EditRef, error) {
	e := among[field]
	for _, one := range append([]view.Edit{e}, e.Others...) {
		if Keep(one.Ref) == s {
			return one.Ref, nil
		}
	}
	return lab.EditRef{}, problem.New(problem.Conflict, "The value to keep is not among those that are recorded; nothing was saved.", "Look at what holds now, and choose again.")
}

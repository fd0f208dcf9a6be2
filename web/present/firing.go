package present

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
	"thudbook/metrics/unit"
	"thudbook/sync/lab"
	"thudbook/sync/speed"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Pressure shows a gauge pressure in a unit of lab.PressureUnits, "" for kPa.
func Pressure(kpa float64, in string) page.Pressure {
	if in == "" || in == "kPa" {
		return page.Pressure{Number: page.Show(kpa, "kPa")}
	}
	return page.Pressure{Number: page.Show(inUnit(kpa, "kPa", in), in), KPa: page.Show(kpa, "kPa")}
}

// inUnit converts a pressure; units that are not known leave it as it is.
func inUnit(v float64, from, to string) float64 {
	a, okA := unit.Parse(from)
	b, okB := unit.Parse(to)
	if okA && okB {
		if out, ok := unit.Convert(v, a, b); ok {
			return out
		}
	}
	return v
}

// PressureText is a gauge pressure in a unit as a form holds it.
func PressureText(kpa float64, in string) string {
	digits := 1
	if in == "bar" {
		digits = 3
	}
	return strconv.FormatFloat(inUnit(kpa, "kPa", in), 'f', digits, 64)
}

// KPa reads a pressure that was typed in a unit.
func KPa(text, in string) (float64, error) {
	v, err := page.ParseDecimal(text)
	if err != nil {
		return 0, err
	}
	kpa := inUnit(v, in, "kPa")
	if !(kpa > 0 && kpa <= 20000) {
		return 0, fmt.Errorf("%g %s is no gauge pressure above zero and up to 20 MPa; check the number and its unit", v, in)
	}
	return kpa, nil
}

// ProposePressure puts a proposed pressure, or why there is none, on a step.
func ProposePressure(s *page.Step, p speed.Proposal, why error, in string) {
	if p.HighKPa > 0 {
		low, high := Pressure(p.LowKPa, in).Number, Pressure(p.HighKPa, in).Number
		s.Observed = fmt.Sprintf("Observed on this ram: %s to %s %s. Nothing is proposed beyond.", low.Text, high.Text, high.Unit)
	}
	if why != nil {
		s.NoProp = why.Error()
		if out, ok := errors.AsType[ram.Outside](why); ok {
			at, low, high := Pressure(out.KPa, in).Number, Pressure(out.LowKPa, in).Number, Pressure(out.HighKPa, in).Number
			s.NoProp = fmt.Sprintf("the pressure for this speed, %s %s, is outside the observed pressures, %s to %s %s. Choose a target inside the observed range.", at.Text, at.Unit, low.Text, high.Text, high.Unit)
		} else if f, ok := fault.As(why); ok {
			s.NoProp = f.What + "; " + f.Fix + "."
			s.FewShots = f.Code != speed.AboveRated
		}
		return
	}
	s.Pressure, s.Low, s.High = Pressure(p.PressureKPa.Value, in), Pressure(p.PressureKPa.Low, in), Pressure(p.PressureKPa.High, in)
	s.Chance = page.Missing("the speed is not judged")
	if p.Chance >= 0 {
		s.Chance = Chance(p.Chance)
	}
	s.Before = p.BeforeService
	if s.Basis = fmt.Sprintf("From %s since the last service.", Count(int64(p.Shots), "shot", "shots")); s.Before {
		s.Basis = fmt.Sprintf("From %s before the last service, with their scatter doubled, until %d shots at two pressures are in since.", Count(int64(p.Shots), "shot", "shots"), speed.EnoughShots)
	}
}

// Chance shows a probability in percent. None is a certainty: it rests on a fit.
func Chance(p float64) page.Number {
	n := page.ShowWhole(100*p, "%")
	switch {
	case p >= 0.995:
		n.Text = "over 99"
	case p < 0.01:
		n.Text = "under 1"
	}
	return n
}

// SpeedVerdict holds a speed against its target; a tolerance of 0 is not judged.
func SpeedVerdict(v, target *float64, toleranceMS float64) page.Status {
	switch {
	case v == nil:
		return page.Status{Level: page.Warn, Word: "not known"}
	case target == nil || toleranceMS <= 0:
		return page.Status{Level: page.Plain, Word: page.Show(*v, "m/s").Text + " m/s, not judged"}
	}
	// In whole millimetres per second, as the plan counts.
	got, want, tol := lab.MillimetresPerSecond(*v), lab.MillimetresPerSecond(*target), lab.MillimetresPerSecond(toleranceMS)
	off, word := int64(got)-int64(want), "too fast"
	if off < 0 {
		off, word = -off, "too slow"
	}
	tolerance := page.Show(toleranceMS, "m/s").Text
	if off <= int64(tol) {
		return page.Status{Level: page.OK, Word: fmt.Sprintf("%s m/s, within ±%s m/s", page.Show(*v, "m/s").Text, tolerance)}
	}
	return page.Status{Level: page.Bad, Word: fmt.Sprintf("%s m/s, %.3f m/s %s for ±%s m/s", page.Show(*v, "m/s").Text, float64(off)/1000, word, tolerance)}
}

// StepFields names a step of a run order in the hidden fields of a form.
func StepFields(s lab.RunStep) map[string]string {
	return map[string]string{"specimen": s.Specimen, "location": s.Location, "condition": s.Condition,
		"target_speed_m_s": strconv.FormatFloat(s.TargetSpeedMS, 'f', -1, 64), "hit": strconv.FormatInt(s.Hit, 10)}
}

// ParseStep reads what StepFields wrote; get gives a field.
func ParseStep(get func(string) string) (lab.RunStep, error) {
	v, err := strconv.ParseFloat(get("target_speed_m_s"), 64)
	if err != nil {
		return lab.RunStep{}, err
	}
	hit, err := strconv.ParseInt(get("hit"), 10, 64)
	return lab.RunStep{Specimen: get("specimen"), Location: get("location"), Condition: get("condition"), TargetSpeedMS: v, Hit: hit}, err
}

// OrderRow is one step of a run order; first is the next one to fire.
func OrderRow(s *view.RunStep, of, campaign string, first *view.RunStep, out string) page.OrderRow {
	r := page.OrderRow{Specimen: s.Specimen, Location: s.Location, Condition: s.Condition, Target: page.Show(s.TargetSpeedMS, "m/s"), Hit: of,
		Hidden: StepFields(s.RunStep), Skipped: s.State == view.StepSkipped, First: s == first, State: page.Status{Word: "to fire"}}
	r.Hidden["campaign"] = campaign
	switch {
	case r.Skipped:
		r.State.Word = "skipped: " + s.Reason
	case out != "":
		r.State = page.Status{Level: page.Warn, Word: out}
	case r.First:
		r.State = page.Status{Level: page.OK, Word: "next"}
	}
	if first != nil && !r.First {
		r.Above = StepFields(first.RunStep)
	}
	return r
}

// Moment is a recorded time in a zone; the zero time stays zero.
func Moment(t lab.Time, zone *time.Location) time.Time {
	if t == 0 {
		return time.Time{}
	}
	return t.Time().In(zone)
}

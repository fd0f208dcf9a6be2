package present

import (
	"maps"
	"slices"
	"time"

	"thudbook/sync/view"
	"thudbook/web/page"
)

// Meta lists what came with a shot or was said of it. The first fields are
// listed even where nothing was recorded. Pressures are shown in the unit in.
func Meta(r *view.ShotRow, zone *time.Location, in string) []page.MetaRow {
	m := &metaRows{r: r, in: in}
	s := &r.Shot.Meta
	m.text("specimen", "Specimen", s.Specimen)
	m.text("location", "Impact location", s.Location)
	m.text("condition", "Condition", s.Condition)
	m.number("target_speed_m_s", "Target speed", "m/s", s.TargetSpeedMS)
	m.pressure("tank_pressure_kpa_gauge", "Tank pressure, gauge", s.TankPressureKPaGauge)
	m.text("operator", "Operator", s.Operator)
	m.further = true
	m.number("speed_m_s", "Speed measured elsewhere", "m/s", s.SpeedMS)
	if !s.FiredAt.IsZero() {
		m.text("fired_at", "Fired at", page.ShowMoment(s.FiredAt.Time().In(zone)))
	}
	for _, f := range []struct{ name, label, value string }{
		{"ram_mass", "Mass of the ram", s.RamMass}, {"end_cap", "End cap", s.EndCap}, {"head_form", "Head form", s.HeadForm},
		{"neck", "Neck", s.Neck}, {"reference_pad", "Reference pad", s.ReferencePad}, {"helmet_size", "Helmet size", s.HelmetSize}, {"helmet_serial", "Helmet, serial number", s.HelmetSerial},
		{"guard", "Face guard", s.Guard}, {"chin_strap", "Chin strap", s.ChinStrap},
	} {
		m.text(f.name, f.label, f.value)
	}
	m.pressure("release_pressure_kpa_gauge", "Pressure at release, gauge", s.ReleasePressureKPaGauge)
	for _, f := range []struct {
		name, label, unit string
		value             *float64
	}{
		{"end_cap_hits", "Hits of the end cap", "", s.EndCapHits}, {"neck_torque_n_m", "Neck torque", "N·m", s.NeckTorqueNM},
		{"offset_y_mm", "Offset of the line of impact, y", "mm", s.OffsetYMM}, {"offset_z_mm", "Offset of the line of impact, z", "mm", s.OffsetZMM},
		{"azimuth_deg", "Azimuth", "°", s.AzimuthDeg}, {"elevation_deg", "Elevation", "°", s.ElevationDeg},
		{"ambient_c", "Ambient temperature", "°C", s.AmbientC}, {"relative_humidity_percent", "Relative humidity", "%", s.RelativeHumidityPercent},
		{"out_of_chamber_s", "Time out of the chamber", "s", s.OutOfChamberS}, {"since_last_impact_s", "Time since the last impact", "s", s.SinceLastImpactS},
	} {
		if f.value != nil && (f.unit == "" || f.unit == "s") {
			m.add(f.name, f.label, page.ShowWhole(*f.value, f.unit))
			continue
		}
		m.number(f.name, f.label, f.unit, f.value)
	}
	if !s.NeckTorquedAt.IsZero() {
		m.text("neck_torqued_at", "Neck torqued at", page.ShowMoment(s.NeckTorquedAt.Time().In(zone)))
	}
	for _, k := range slices.Sorted(maps.Keys(s.Extra)) {
		m.text("extra."+k, k, s.Extra[k])
	}
	return m.rows
}

// metaRows gathers the rows; once further is set, what was not recorded is
// left out.
type metaRows struct {
	r       *view.ShotRow
	in      string // unit of pressures
	rows    []page.MetaRow
	further bool
}

func (m *metaRows) text(name, label, v string) {
	n := page.Missing("not recorded")
	if v != "" {
		n = page.Number{Text: v}
	}
	m.add(name, label, n)
}

func (m *metaRows) number(name, label, unit string, v *float64) {
	m.add(name, label, number(v, unit, "not recorded"))
}

// pressure shows one in the unit that was chosen, with kPa beside it.
func (m *metaRows) pressure(name, label string, kpa *float64) {
	if kpa == nil {
		m.number(name, label, "kPa", nil)
		return
	}
	p := Pressure(*kpa, m.in)
	if m.add(name, label, p.Number); p.Number.Text != "" {
		m.rows[len(m.rows)-1].KPa = p.KPa
	}
}

func (m *metaRows) add(name, label string, n page.Number) {
	if n.Text == "" && m.further {
		return
	}
	m.rows = append(m.rows, page.MetaRow{Label: label, Value: n, Manual: n.Text != "" && m.r.Typed(name)})
}

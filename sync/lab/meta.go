package lab

import (
	"fmt"
	"maps"
	"slices"
)

// Meta is what an acquisition file does not say about its shot: what was hit,
// where, how fast it should have been, with what. Nothing in it is required
// when the shot is taken in.
type Meta struct {
	Specimen             string   `json:"specimen,omitempty"`
	Location             string   `json:"location,omitempty"`
	Condition            string   `json:"condition,omitempty"`
	TargetSpeedMS        *float64 `json:"target_speed_m_s,omitempty"`
	TankPressureKPaGauge *float64 `json:"tank_pressure_kpa_gauge,omitempty"`
	SpeedMS              *float64 `json:"speed_m_s,omitempty"` // measured by other means than the file's light gate
	FiredAt              Time     `json:"fired_at,omitempty"`
	Operator             string   `json:"operator,omitempty"` // an id or initials

	RamMass                 string   `json:"ram_mass,omitempty"` // id of the ram's mass
	EndCap                  string   `json:"end_cap,omitempty"`
	EndCapHits              *float64 `json:"end_cap_hits,omitempty"`
	HeadForm                string   `json:"head_form,omitempty"`
	Neck                    string   `json:"neck,omitempty"`
	NeckTorqueNM            *float64 `json:"neck_torque_n_m,omitempty"`
	NeckTorquedAt           Time     `json:"neck_torqued_at,omitempty"`
	ReferencePad            string   `json:"reference_pad,omitempty"` // serial number; of a system check
	HelmetSize              string   `json:"helmet_size,omitempty"`
	HelmetSerial            string   `json:"helmet_serial,omitempty"`
	Guard                   string   `json:"guard,omitempty"`
	ChinStrap               string   `json:"chin_strap,omitempty"`
	OffsetYMM               *float64 `json:"offset_y_mm,omitempty"` // of the line of impact, from the location's nominal
	OffsetZMM               *float64 `json:"offset_z_mm,omitempty"`
	AzimuthDeg              *float64 `json:"azimuth_deg,omitempty"`
	ElevationDeg            *float64 `json:"elevation_deg,omitempty"`
	ReleasePressureKPaGauge *float64 `json:"release_pressure_kpa_gauge,omitempty"`
	AmbientC                *float64 `json:"ambient_c,omitempty"`
	RelativeHumidityPercent *float64 `json:"relative_humidity_percent,omitempty"`
	OutOfChamberS           *float64 `json:"out_of_chamber_s,omitempty"`
	SinceLastImpactS        *float64 `json:"since_last_impact_s,omitempty"`
	TriggerMonotonicNS      *int64   `json:"trigger_monotonic_ns,omitempty"`

	// Extra holds what came under a name that is not listed here.
	Extra map[string]string `json:"extra,omitempty"`
}

// AuthorMeta is the author of edits that a meta file or a program brought, and
// not a person at a screen.
const AuthorMeta = "meta"

// Assigned says that the shot has what a campaign needs: specimen, location
// and target speed.
func (m *Meta) Assigned() bool { return len(m.Missing()) == 0 }

// Missing names the fields that the shot waits for.
func (m *Meta) Missing() []string {
	var out []string
	if Fold(m.Specimen) == "" {
		out = append(out, "specimen")
	}
	if Fold(m.Location) == "" {
		out = append(out, "location")
	}
	if m.TargetSpeedMS == nil {
		out = append(out, "target_speed_m_s")
	}
	return out
}

// Validate gives all faults at once.
func (m *Meta) Validate() error {
	c := &checks{what: "meta"}
	m.check(c)
	return c.err()
}

func (m *Meta) check(c *checks) {
	for _, f := range []struct{ name, s string }{
		{"specimen", m.Specimen}, {"location", m.Location}, {"condition", m.Condition}, {"operator", m.Operator},
		{"ram_mass", m.RamMass}, {"end_cap", m.EndCap}, {"head_form", m.HeadForm}, {"neck", m.Neck},
		{"reference_pad", m.ReferencePad},
		{"helmet_size", m.HelmetSize}, {"helmet_serial", m.HelmetSerial}, {"guard", m.Guard}, {"chin_strap", m.ChinStrap},
	} {
		c.text(f.name, f.s, MaxText)
	}
	// Bounds catch a wrong unit or a slipped decimal point, nothing finer.
	for _, f := range []struct {
		name   string
		v      *float64
		lo, hi float64
	}{
		{"target_speed_m_s", m.TargetSpeedMS, 0, 100}, {"speed_m_s", m.SpeedMS, 0, 100},
		{"tank_pressure_kpa_gauge", m.TankPressureKPaGauge, 0, 20000},
		{"release_pressure_kpa_gauge", m.ReleasePressureKPaGauge, 0, 20000},
		{"end_cap_hits", m.EndCapHits, 0, 1e9}, {"neck_torque_n_m", m.NeckTorqueNM, 0, 1e4},
		{"offset_y_mm", m.OffsetYMM, -1000, 1000}, {"offset_z_mm", m.OffsetZMM, -1000, 1000},
		{"azimuth_deg", m.AzimuthDeg, -360, 360}, {"elevation_deg", m.ElevationDeg, -180, 180},
		{"ambient_c", m.AmbientC, -90, 100}, {"relative_humidity_percent", m.RelativeHumidityPercent, 0, 100},
		{"out_of_chamber_s", m.OutOfChamberS, 0, 1e9}, {"since_last_impact_s", m.SinceLastImpactS, 0, 1e9},
	} {
		c.number(f.name, f.v, f.lo, f.hi)
	}
	c.optionalWhen("fired_at", m.FiredAt)
	c.optionalWhen("neck_torqued_at", m.NeckTorquedAt)
	if len(m.Extra) > MaxExtra {
		c.add("extra", fmt.Sprintf("%d further fields, the most is %d", len(m.Extra), MaxExtra), "attach them as a file")
	}
	for _, k := range slices.Sorted(maps.Keys(m.Extra)) {
		c.needText("extra field name", k, MaxText)
		c.text("extra."+k, m.Extra[k], MaxText)
	}
}

package present

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/web/page"
)

// addUnfiled puts the hits of which no file came among the others, and numbers
// them all.
func (h *History) addUnfiled(p *page.Specimen, zone *time.Location) {
	for i := range h.Unfiled {
		s := &h.Unfiled[i].Strokes
		row := page.ShotRow{At: Moment(s.EffectiveAt, zone), Specimen: s.Specimen, Location: s.Location, Target: number(s.TargetSpeedMS, "m/s", ""),
			Speed: page.Missing("no file came"), PeakG: page.Missing("no file came"), HIC15: page.Missing("no file came")}
		p.Hits = append(p.Hits, page.SpecimenHit{NoData: true, Why: s.Reason, Shot: row, Condition: s.Condition, Deformation: page.Missing("not measured"), Growth: page.Missing("not known")})
	}
	slices.SortStableFunc(p.Hits, func(a, b page.SpecimenHit) int { return a.Shot.At.Compare(b.Shot.At) })
	for i := range p.Hits {
		p.Hits[i].N = i + 1
	}
}

// HitJSON is one hit on a specimen as the API gives it.
type HitJSON struct {
	Shot          uuid.UUID `json:"shot"`
	EffectiveAt   lab.Time  `json:"effective_at"`
	Location      string    `json:"location,omitempty"`
	Condition     string    `json:"condition,omitempty"`
	TargetSpeedMS *float64  `json:"target_speed_m_s"`
	SpeedMS       *float64  `json:"speed_m_s"`
	PeakG         *float64  `json:"peak_linear_acceleration_g"`
	HIC15         *float64  `json:"hic15"`
	Void          bool      `json:"void,omitempty"`
	DeformationMM *float64  `json:"deformation_mm"`
	GrowthMM      *float64  `json:"growth_mm"`
}

// UnfiledJSON is a hit on a specimen of which no file came, as the API gives it.
type UnfiledJSON struct {
	ID            uuid.UUID `json:"id"` // of the entry of the stroke
	EffectiveAt   lab.Time  `json:"effective_at"`
	Location      string    `json:"location,omitempty"`
	Condition     string    `json:"condition,omitempty"`
	TargetSpeedMS *float64  `json:"target_speed_m_s"`
	Reason        string    `json:"reason,omitempty"`
	Author        string    `json:"author"`
	RecordedAt    time.Time `json:"recorded_at"`
}

// SpecimenJSON is the history of a specimen as the API gives it.
type SpecimenJSON struct {
	Specimen    string           `json:"specimen"`
	Out         bool             `json:"out"`
	OutBy       *uuid.UUID       `json:"out_by"` // the inspection that it failed
	Hits        []HitJSON        `json:"hits"`
	Unfiled     []UnfiledJSON    `json:"hits_without_file"`
	Inspections []InspectionJSON `json:"inspections"`
}

// Body is the history for the API.
func (h *History) Body() SpecimenJSON {
	b := SpecimenJSON{Specimen: h.Name, Hits: []HitJSON{}, Unfiled: []UnfiledJSON{}, Inspections: InspectionBodies(h.Inspections)}
	if h.Out != nil {
		b.Out, b.OutBy = true, &h.Out.ID
	}
	mm, grown := h.deformations()
	for i := range h.Hits {
		r := &h.Hits[i]
		hit := HitJSON{Shot: r.ID, EffectiveAt: r.Shot.EffectiveAt, Location: r.Shot.Location, Condition: r.Shot.Condition, TargetSpeedMS: r.Shot.TargetSpeedMS,
			SpeedMS: r.SpeedMS(), Void: r.Void(), DeformationMM: mm[i], GrowthMM: grown[i]}
		if r.Figures != nil {
			hit.PeakG, hit.HIC15 = r.Figures.PeakG, r.Figures.HIC15
		}
		b.Hits = append(b.Hits, hit)
	}
	for i := range h.Unfiled {
		r := &h.Unfiled[i]
		x := &r.Strokes
		b.Unfiled = append(b.Unfiled, UnfiledJSON{ID: r.ID, EffectiveAt: x.EffectiveAt, Location: x.Location, Condition: x.Condition, TargetSpeedMS: x.TargetSpeedMS, Reason: x.Reason, Author: r.Author, RecordedAt: r.RecordedAt})
	}
	return b
}

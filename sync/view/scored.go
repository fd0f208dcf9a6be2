package view

import (
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// score keeps every score and shows the one of the last turn.
func (s *Set) score(tx kv.Tx, r *record.Record, b *lab.Score) error {
	row := &scoreRow{Lab: r.Lab, Stamp: stampOf(r), Author: r.Author, WallNS: r.WallNS, Score: *b}
	if a, ok := attachment(r.Attachments, lab.RoleMap); ok {
		row.Map = &a
	}
	if err := s.scores.Put(tx, row); err != nil {
		return err
	}
	return change(tx, s.shots, b.Shot, r.Lab, func(d *doc[lab.Shot]) {
		if f := d.Figures; f == nil || b.Turn > f.Turn || b.Turn == f.Turn && row.Stamp.Compare(f.Stamp) > 0 {
			d.Figures = &figured{Stamp: row.Stamp, Turn: b.Turn, Figures: figures(b), Map: b.MapSHA256}
		}
	})
}

// figures shortens a score for lists.
func figures(b *lab.Score) Figures {
	f := Figures{Engine: b.Engine}
	for name, to := range map[string]**float64{
		"peak_linear_acceleration":  &f.PeakG,
		"severity_index":            &f.SeverityIndex,
		"hic15":                     &f.HIC15,
		"hic36":                     &f.HIC36,
		"peak_angular_velocity":     &f.PeakAngularVelocityRadS,
		"peak_angular_acceleration": &f.PeakAngularAccelerationRS2,
		"impact_speed":              &f.ImpactSpeedMS,
		"ram_energy":                &f.RamEnergyJ,
	} {
		if v, ok := b.Results[name]; ok {
			*to = new(v.Value)
		}
	}
	for _, flag := range asTakenIn(b.Flags) {
		if code := flag.Code; !slices.Contains(f.Flags, code) {
			f.Flags = append(f.Flags, code)
		}
	}
	if b.Error != nil {
		f.Error = b.Error.Code
	}
	return f
}

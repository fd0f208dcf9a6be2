package desk

import (
	"context"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// countedWithin is how long after a stroke was counted as one of which no file came
// a file may still be its own.
const countedWithin = 10 * time.Minute

// counted asks of a file that waits to be assigned whether it is that of a stroke
// which was counted without one just before: it would count twice.
func (d *Desk) counted(ctx context.Context, row *view.ShotRow) ([]page.Notice, error) {
	if !present.Waiting(row) || row.Shot.Kind != lab.ShotHit {
		return nil, nil
	}
	l, err := d.read.Unfiled(ctx, d.scope(), row.Shot.Rig, view.Page{Limit: 5}) // newest first
	if err != nil {
		return nil, err
	}
	for i := range l.Rows {
		s := &l.Rows[i].Strokes
		if after := row.RecordedAt.Sub(s.EffectiveAt.Time()); s.Kind != lab.StrokeNoFile || after < 0 || after > countedWithin {
			continue
		}
		text := "A stroke was counted " + page.ShowMoment(present.Moment(s.EffectiveAt, time.Local)) + " as fired without a file"
		if s.HitSpecimen() {
			text += ", on " + s.Specimen
		}
		return []page.Notice{{Level: page.Warn, Text: text + ". If this is its file, it counts twice.", Fix: "Then assign this file, and take the entry back under Strokes. If the ram moved again, assign it as a stroke of its own.", Link: "Strokes", Href: page.PathStrokes}}, nil
	}
	return nil, nil
}

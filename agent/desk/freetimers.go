package desk

import (
	"context"
	"slices"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// What is shown of specimens that were hit, or taken out of the chamber, lately.
const (
	timersFor  = 12 * time.Hour
	mostTimers = 8
	hitsLooked = 60
)

// freeTimers shows for free shots, which no plan limits, how long ago a specimen
// was hit last and left its chamber. That of the planned hit has its own.
func (d *Desk) freeTimers(ctx context.Context, p *page.Next, now time.Time) error {
	from := lab.At(now.Add(-timersFor))
	names, err := d.read.OutSince(ctx, d.scope(), from)
	if err != nil {
		return err
	}
	bare, err := d.read.Unfiled(ctx, d.scope(), d.Intake.Rig(), view.Page{Limit: hitsLooked})
	if err != nil {
		return err
	}
	for i := range bare.Rows {
		if s := &bare.Rows[i].Strokes; s.HitSpecimen() && s.EffectiveAt >= from {
			names = append(names, s.Specimen)
		}
	}
	list, err := d.read.Shots(ctx, d.scope(), view.ShotFilter{Rig: d.Intake.Rig(), From: from, Kind: lab.ShotHit}, view.Page{Limit: hitsLooked})
	if err != nil {
		return err
	}
	for i := range list.Rows {
		names = append(names, list.Rows[i].Shot.Specimen)
	}
	var seen []string
	if p.Step != nil {
		seen = append(seen, lab.Fold(p.Step.Specimen))
	}
	for _, name := range names {
		if key := lab.Fold(name); key == "" || slices.Contains(seen, key) {
			continue
		}
		if len(p.FreeTimers) == mostTimers {
			break
		}
		seen = append(seen, lab.Fold(name))
		t, err := d.freeTimer(ctx, p, name, now)
		if err != nil {
			return err
		}
		p.FreeTimers = append(p.FreeTimers, t)
	}
	p.FreeOut = page.Form{ID: "out", Action: page.PostTakenOut, Submit: "Out of the chamber now", Fields: page.TakenOutFields()}
	return nil
}

func (d *Desk) freeTimer(ctx context.Context, p *page.Next, name string, now time.Time) (t page.FreeTimer, err error) {
	t.Specimen = name
	out, err := d.read.TakenOut(ctx, d.scope(), name)
	if err != nil {
		return t, err
	}
	last, err := d.read.LastHit(ctx, d.scope(), name, lab.At(now.AddDate(100, 0, 0))) // one that is dated ahead too
	if err != nil {
		return t, err
	}
	t.Out.At = present.Moment(out, time.Local)
	if last != nil {
		t.Rest.At = present.Moment(last.At, time.Local)
	}
	hidden := map[string]string{"specimen": name, "campaign": p.Campaign}
	t.Tap = page.Form{Action: page.PostTakenOut, Submit: "Out of the chamber now", Hidden: hidden}
	if out != 0 {
		t.Tap.Submit, hidden["back"] = "It is back in", "yes"
	}
	p.Notices = append(p.Notices, d.jumpNotice(t.Out.At, name+" left its chamber")...)
	p.Notices = append(p.Notices, d.jumpNotice(t.Rest.At, "the last hit on "+name)...)
	return t, nil
}

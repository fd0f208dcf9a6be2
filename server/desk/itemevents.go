package desk

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// events is the history of an item, newest first.
func (d *Desk) events(ctx context.Context, p *caller, id uuid.UUID, rigs map[uuid.UUID]string) ([]page.ItemEvent, error) {
	var out []page.ItemEvent
	names, err := d.authors(ctx, p.Scope)
	if err != nil {
		return nil, err
	}
	add := func(at lab.Time, h *view.Head, what, why string) {
		out = append(out, page.ItemEvent{At: at.Time().In(d.zone), What: what, Why: why, By: names(h.Author)})
	}
	states, err := d.Views.States(ctx, p.Scope, id)
	for i := range states {
		b := &states[i].ItemState
		what := b.State
		if b.Location != "" {
			what += ", kept at " + b.Location
		}
		add(b.EffectiveAt, &states[i].Head, what, b.Reason)
	}
	if err != nil {
		return nil, err
	}
	corrections, err := d.Views.Corrections(ctx, p.Scope, id)
	for i := range corrections {
		b := &corrections[i].Correction
		sign := ""
		if b.Strokes > 0 {
			sign = "+"
		}
		add(b.EffectiveAt, &corrections[i].Head, "counter corrected by "+sign+page.ShowCount(b.Strokes)+" strokes", b.Reason)
	}
	if err != nil {
		return nil, err
	}
	services, err := d.Views.Services(ctx, p.Scope, id)
	for i := range services {
		b := &services[i].Service
		what := "service"
		if b.WorkOrder != nil {
			what += " by work order"
		}
		if b.CounterStrokes != nil {
			what += ", its own counter at " + page.ShowCount(*b.CounterStrokes)
		}
		add(b.EffectiveAt, &services[i].Head, what, b.Note)
	}
	if err != nil {
		return nil, err
	}
	calibrations, err := d.Views.Calibrations(ctx, p.Scope, id)
	for i := range calibrations {
		b := &calibrations[i].Calibration
		add(b.EffectiveAt, &calibrations[i].Head, "calibration, certificate "+b.Certificate, "due again on "+b.DueAt.Time().In(d.zone).Format(time.DateOnly))
	}
	if err != nil {
		return nil, err
	}
	mountings, err := d.Views.Mountings(ctx, p.Scope, id)
	for i := range mountings {
		b := &mountings[i].Mounting
		add(b.EffectiveAt, &mountings[i].Head, "mounted at "+rigName(rigs, b.Rig)+", position "+b.Position, "")
	}
	slices.SortStableFunc(out, func(a, b page.ItemEvent) int { return b.At.Compare(a.At) })
	return out, err
}

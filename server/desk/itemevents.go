package desk

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// Kinds of entries of a history, as they stand in addresses.
var entryKinds = map[record.Kind]string{lab.KindItemState: "state", lab.KindCorrection: "correction", lab.KindService: lateService, lab.KindCalibration: lateCertificate, lab.KindMounting: lateMounting}

// itemEvent is an entry of an item's history, and its record.
type itemEvent struct {
	page.ItemEvent
	kind record.Kind
	head view.Head
}

// events is the history of an item, newest first.
func (d *Desk) events(ctx context.Context, p *caller, id uuid.UUID, rigs map[uuid.UUID]string, may bool) ([]page.ItemEvent, error) {
	all, err := d.history(ctx, p, id, rigs)
	out := make([]page.ItemEvent, len(all))
	for i := range all {
		if out[i] = all[i].ItemEvent; may {
			out[i].Href = page.EntryPath(id.String(), entryKinds[all[i].kind], all[i].head.ID.String())
		}
	}
	return out, err
}

func (d *Desk) history(ctx context.Context, p *caller, id uuid.UUID, rigs map[uuid.UUID]string) ([]itemEvent, error) {
	var out []itemEvent
	names, err := d.authors(ctx, p.Scope)
	if err != nil {
		return nil, err
	}
	add := func(kind record.Kind, at lab.Time, h *view.Head, what, why string) {
		e := page.ItemEvent{At: at.Time().In(d.zone), What: what, Why: why, By: names(h.Author)}
		if h.Withdrawn != nil {
			e.Withdrawn = h.Withdrawn.Reason
		}
		out = append(out, itemEvent{ItemEvent: e, kind: kind, head: *h})
	}
	off, err := d.Views.WithdrawnFacts(ctx, p.Scope, id)
	if err != nil {
		return nil, err
	}
	states, err := d.Views.States(ctx, p.Scope, id)
	states = append(states, off.States...)
	for i := range states {
		b := &states[i].ItemState
		what := b.State
		if b.Location != "" {
			what += ", kept at " + b.Location
		}
		add(lab.KindItemState, b.EffectiveAt, &states[i].Head, what, b.Reason)
	}
	if err != nil {
		return nil, err
	}
	corrections, err := d.Views.Corrections(ctx, p.Scope, id)
	corrections = append(corrections, off.Corrections...)
	for i := range corrections {
		b := &corrections[i].Correction
		sign := ""
		if b.Strokes > 0 {
			sign = "+"
		}
		add(lab.KindCorrection, b.EffectiveAt, &corrections[i].Head, "counter corrected by "+sign+page.ShowCount(b.Strokes)+" strokes", b.Reason)
	}
	if err != nil {
		return nil, err
	}
	services, err := d.Views.Services(ctx, p.Scope, id)
	services = append(services, off.Services...)
	for i := range services {
		b := &services[i].Service
		what := "service"
		if b.WorkOrder != nil {
			what += " by work order"
		}
		if b.CounterStrokes != nil {
			what += ", its own counter at " + page.ShowCount(*b.CounterStrokes)
		}
		add(lab.KindService, b.EffectiveAt, &services[i].Head, what, b.Note)
	}
	if err != nil {
		return nil, err
	}
	calibrations, err := d.Views.Calibrations(ctx, p.Scope, id)
	calibrations = append(calibrations, off.Calibrations...)
	for i := range calibrations {
		b := &calibrations[i].Calibration
		on, due := b.Days()
		add(lab.KindCalibration, lab.At(on.In(d.zone)), &calibrations[i].Head, "calibration, certificate "+b.Certificate, "due again on "+due.String())
	}
	if err != nil {
		return nil, err
	}
	mountings, err := d.Views.Mountings(ctx, p.Scope, id)
	mountings = append(mountings, off.Mountings...)
	for i := range mountings {
		b := &mountings[i].Mounting
		add(lab.KindMounting, b.EffectiveAt, &mountings[i].Head, "mounted at "+rigName(rigs, b.Rig)+", position "+b.Position+present.AlsoThere(b), "")
	}
	slices.SortStableFunc(out, func(a, b itemEvent) int { return b.At.Compare(a.At) })
	return out, err
}

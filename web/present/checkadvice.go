package present

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// changesLooked bounds the changes of a rig that are looked through for one advice.
const changesLooked = 200

// Advice says what was serviced or mounted since the last system check that did not
// fail, so that a check before the next campaign shot is advised; nil when nothing
// was, or when there was no such check.
func (k *Checks) Advice(ctx context.Context) (*page.ReadyRow, error) {
	rows, err := k.Read.Checks(ctx, k.Scope, k.Rig, shownChecks)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(rows, func(r view.CheckRow) bool {
		return r.State == view.CheckGood || r.State == view.CheckUndecided && r.Results[0].Value != nil
	})
	if i < 0 {
		return nil, nil
	}
	last := rows[i].Shot.EffectiveAt
	since, err := k.changedSince(ctx, last)
	if err != nil || len(since) == 0 {
		return nil, err
	}
	return &page.ReadyRow{What: "system check after a change", State: page.Status{Level: page.Warn, Word: "a check before the next campaign shot is advised"},
		Reason: strings.Join(since, "; ") + "; the last system check was " + k.clock(&rows[i]) + ".", Href: page.PathCheck}, nil
}

// changedSince lists in words the services of what is at the rig, and the changes of
// mounting that may change a result, after an instant up to now.
func (k *Checks) changedSince(ctx context.Context, last lab.Time) (out []string, err error) {
	now := lab.At(k.Now)
	day := func(t lab.Time) string { return Moment(t, k.Now.Location()).Format("2006-01-02 15:04") }
	mounted, err := k.Read.Mounted(ctx, k.Scope, k.Rig, now)
	if err != nil {
		return nil, err
	}
	looked := map[uuid.UUID]bool{}
	for i := range mounted {
		item := mounted[i].Item
		if item == nil || looked[item.ID] { // the case of a sensor sits at several positions
			continue
		}
		looked[item.ID] = true
		services, err := k.Read.Services(ctx, k.Scope, item.ID)
		if err != nil {
			return nil, fmt.Errorf("services of %s: %w", item.Item.Title(), err)
		}
		for j := range services { // newest first
			if at := services[j].Service.EffectiveAt; at > last && at <= now {
				out = append(out, "service of "+item.Item.Title()+" on "+day(at))
				break
			}
		}
	}
	changes, err := k.Read.RigMountings(ctx, k.Scope, k.Rig, changesLooked)
	if err != nil {
		return nil, err
	}
	for i := range changes { // newest first
		m := &changes[i].Mounting.Mounting
		switch {
		case m.EffectiveAt <= last:
			return out, nil
		case m.EffectiveAt > now || !matters(&changes[i]):
		case m.Item == uuid.Nil:
			out = append(out, "taken off position "+m.Position+" on "+day(m.EffectiveAt))
		case changes[i].Item == nil:
			out = append(out, "something mounted at position "+m.Position+" on "+day(m.EffectiveAt))
		default:
			out = append(out, changes[i].Item.Item.Title()+" mounted at position "+m.Position+" on "+day(m.EffectiveAt))
		}
	}
	return out, nil
}

// matters says that a change of mounting may change what is measured: of head form,
// neck or face, or of what measures. At a position that is empty now, or whose item
// is not in the register, it counts unless it is the ram's.
func matters(m *view.MountedRow) bool {
	of := m.Mounting.Mounting.Position
	if m.Item != nil {
		of = m.Item.Item.Class
	}
	of = lab.Fold(of)
	return m.Item == nil && of != lab.ClassRam || lab.Calibrated(of) || slices.Contains([]string{lab.ClassHeadForm, lab.ClassNeck, lab.ClassImpactorFace}, of)
}

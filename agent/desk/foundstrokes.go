package desk

import (
	"context"
	"slices"
	"time"

	"thudbook/sync/lab"
	"thudbook/web/page"
	"thudbook/web/present"
)

// foundEntries puts beside the entered strokes those that only the counter has, and
// the files seen again that count. Where more entries lie further back than are
// shown, it goes back no further than these.
func (d *Desk) foundEntries(ctx context.Context, p *page.Strokes, more bool) error {
	from := lab.Time(0)
	if n := len(p.Entries); more && n > 0 {
		from = lab.At(p.Entries[n-1].At)
	}
	found, err := present.FoundStrokes(ctx, d.read, d.scope(), d.Intake.Rig(), from, lab.At(time.Now())+1)
	if err != nil {
		return err
	}
	for i := range found {
		f := &found[i]
		row := page.BareRow{At: f.At.Time().In(time.Local), What: f.What, Reason: f.Reason, By: d.personName(f.Author), Pressure: page.Pressure{Number: page.Missing("not recorded")}}
		if f.Reading {
			row.Withdraw = withdraw(f.ID, lab.KindCounterRead)
			row.Withdraw.Submit = "Take the reading back"
		}
		p.Entries = append(p.Entries, row)
	}
	slices.SortStableFunc(p.Entries, func(a, b page.BareRow) int { return b.At.Compare(a.At) })
	return nil
}

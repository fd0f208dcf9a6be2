package desk

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// Bounds of what counts as entered late, and how far the list looks back.
const (
	lateBy       = 24 * time.Hour
	lateLookBack = 90 // days
	mostLateRows = 500
)

// Kinds of late entries, as they stand in addresses.
const (
	lateMounting    = "mounting"
	lateService     = "service"
	lateCertificate = "certificate"
)

// lateEntry is a fact about an item that was entered after it held.
type lateEntry struct {
	kind string
	head view.Head
	item view.ItemRow
	at   lab.Time
	on   *lab.Date // the day of a certificate; else nil
	to   lab.Time  // up to when strokes are touched
	what string
}

func (d *Desk) lateRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathLate, d.lateFacts, in)
	e.GET(page.PathLate+"/:kind/:id", d.lateFact, in)
	e.GET(page.PathLate+"/:kind/:id/shots.csv", d.lateCSV, in)
	e.POST(page.PathLate+"/:kind/:id/again", d.lateAgain, in)
	e.POST(page.PathLate+"/:kind/:id/stop", d.lateStop, in)
}

// lateOf lists the late entries about one item.
func (d *Desk) lateOf(ctx context.Context, sc scope.Scope, i *view.ItemRow, rigs map[uuid.UUID]string, since time.Time) ([]lateEntry, error) {
	var out []lateEntry
	// What changes results is looked at from the first stroke that it touches on.
	add := func(kind string, h *view.Head, at lab.Time, what string) {
		by := lateBy
		if kind == lateCertificate || kind == lateMounting && lab.Calibrated(i.Item.Class) {
			by = 0
		}
		if late := h.RecordedAt.Sub(at.Time()); late > by && !h.RecordedAt.Before(since) && h.Withdrawn == nil {
			out = append(out, lateEntry{kind: kind, head: *h, item: *i, at: at, to: lab.At(h.RecordedAt), what: what})
		}
	}
	mountings, err := d.Views.Mountings(ctx, sc, i.ID)
	if err != nil {
		return nil, err
	}
	for j := range mountings {
		b := &mountings[j].Mounting
		add(lateMounting, &mountings[j].Head, b.EffectiveAt, "mounted at "+rigName(rigs, b.Rig)+", position "+b.Position)
	}
	services, err := d.Views.Services(ctx, sc, i.ID)
	if err != nil {
		return nil, err
	}
	for j := range services {
		add(lateService, &services[j].Head, services[j].Service.EffectiveAt, "service")
	}
	all, err := d.Views.Calibrations(ctx, sc, i.ID)
	if err != nil {
		return nil, err
	}
	for j := range all { // newest first: a later certificate ends what this one touches
		b := &all[j].Calibration
		n := len(out)
		add(lateCertificate, &all[j].Head, b.EffectiveAt, "certificate "+b.Certificate)
		if len(out) == n {
			continue
		}
		on, _ := b.Days()
		if out[n].on = &on; j > 0 {
			out[n].to = min(out[n].to, all[j-1].Calibration.EffectiveAt)
		}
	}
	return out, nil
}

// touched lists the strokes that an entry touches, and how many of their results
// were computed without it. A service changes no result.
func (d *Desk) touched(ctx context.Context, sc scope.Scope, e *lateEntry) (shots, stale []view.ShotRow, err error) {
	if shots, err = d.Views.FiredWith(ctx, sc, e.item.ID, e.at, e.to); err != nil || e.kind == lateService {
		return shots, nil, err
	}
	for i := range shots {
		if guessed := shots[i].Map() == [32]byte{}; !guessed && shots[i].ScoredBefore(&e.head) { // a guess takes no certificate
			stale = append(stale, shots[i])
		}
	}
	return shots, stale, nil
}

func (d *Desk) lateRow(ctx context.Context, sc scope.Scope, e *lateEntry, of string, who func(string) string) (page.LateRow, []view.ShotRow, []view.ShotRow, error) {
	shots, stale, err := d.touched(ctx, sc, e)
	row := page.LateRow{Lab: of, Item: e.item.Item.Title(), What: e.what, At: e.at.Time().In(d.zone), Recorded: e.head.RecordedAt.In(d.zone), Late: page.ShowAge(e.head.RecordedAt.Sub(e.at.Time())) + " late",
		By: who(e.head.Author), Strokes: page.ShowCount(int64(len(shots))), Href: page.LatePath(e.kind, e.head.ID.String())}
	if e.on != nil {
		row.At = e.on.In(d.zone)
	}
	switch {
	case e.kind == lateService:
		row.State = page.Status{Level: page.Plain, Word: "counters follow by themselves"}
	case len(stale) > 0:
		row.State = page.Status{Level: page.Warn, Word: present.Count(int64(len(stale)), "result", "results") + " computed before it was entered"}
	default:
		row.State = page.Status{Level: page.OK, Word: "none rests on what held before"}
	}
	return row, shots, stale, err
}

// lateFacts lists what was entered late.
func (d *Desk) lateFacts(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.LateFacts{Frame: d.frame(&p, "Entered late", page.PathHealth), Days: lateLookBack}
	rigs, err := d.rigNames(ctx, p.Scope)
	if err != nil {
		return err
	}
	who, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	several, since := len(p.names.All()) > 1, d.Now().AddDate(0, 0, -lateLookBack)
	err = every(ctx, func(q view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, p.Scope, "", q) }, func(i *view.ItemRow) error {
		all, err := d.lateOf(ctx, p.Scope, i, rigs, since)
		if err != nil {
			return err
		}
		for j := range all {
			name := ""
			if several {
				if name, err = p.names.Of(ctx, i.Lab); err != nil {
					return err
				}
			}
			row, shots, stale, err := d.lateRow(ctx, p.Scope, &all[j], name, who)
			if err != nil {
				return err
			}
			if len(stale) == 0 && all[j].head.RecordedAt.Sub(all[j].at.Time()) <= lateBy {
				continue // entered on the day, and no result rests on what held before
			}
			if len(shots) == 0 { // as when a register is set up: nothing was fired meanwhile
				s.Touchless++
				continue
			}
			s.Rows = append(s.Rows, row)
		}
		return nil
	})
	slices.SortStableFunc(s.Rows, func(a, b page.LateRow) int { return b.Recorded.Compare(a.Recorded) })
	if err != nil {
		return err
	}
	return d.show(c, s)
}

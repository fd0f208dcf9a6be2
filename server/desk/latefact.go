package desk

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/review"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// foundLate is a late entry that an address names, and whose it is.
type foundLate struct {
	lateEntry
	in    roster.Place
	title string // of the lab
}

func (d *Desk) findLate(c echo.Context, p *caller) (x foundLate, err error) {
	ctx := c.Request().Context()
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return x, notFound("entry")
	}
	var item uuid.UUID
	switch c.Param("kind") {
	case lateMounting:
		r, e := d.Views.Mounting(ctx, p.Scope, id)
		item, err = r.Mounting.Item, e
	case lateService:
		r, e := d.Views.Service(ctx, p.Scope, id)
		item, err = r.Service.Item, e
	case lateCertificate:
		r, e := d.Views.Calibration(ctx, p.Scope, id)
		item, err = r.Calibration.Item, e
	default:
		return x, notFound("entry")
	}
	if err != nil {
		return x, err
	}
	own, err := d.ownedItem(ctx, p, item)
	if err != nil {
		return x, err
	}
	x.in, x.title = own.in, own.title
	rigs, err := d.rigNames(ctx, x.in.Scope)
	if err != nil {
		return x, err
	}
	all, err := d.lateOf(ctx, x.in.Scope, &own.item, rigs, time.Time{})
	i := slices.IndexFunc(all, func(e lateEntry) bool { return e.head.ID == id })
	if err != nil || i < 0 {
		return x, orNot(err, "entry that was made late")
	}
	x.lateEntry = all[i]
	return x, nil
}

func orNot(err error, what string) error {
	if err != nil {
		return err
	}
	return notFound(what)
}

// lateFact shows the strokes that a late entry touches.
func (d *Desk) lateFact(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	x, err := d.findLate(c, &p)
	if err != nil {
		return err
	}
	who, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	row, shots, stale, err := d.lateRow(ctx, x.in.Scope, &x.lateEntry, x.title, who)
	if err != nil {
		return err
	}
	s := page.LateFact{Frame: d.frame(&p, "Entered late: "+x.item.Item.Title(), page.PathHealth), Row: row, ItemHref: page.ItemUsePath(x.item.ID.String()), CSV: row.Href + "/shots.csv"}
	switch x.kind {
	case lateService:
		s.Means = "They count before or since this service by when they were fired. No result changes."
	case lateCertificate:
		s.Means = "This certificate holds for them. Their flags follow it by themselves; results that were computed before it was entered rest on the one before, or on the channel map alone."
	default:
		s.Means = "This item sat there when they were fired: they count for it, and its certificate holds for them. Results that were computed before it was entered rest on another one, or on the channel map alone."
	}
	for i := range shots[:min(len(shots), mostLateRows)] {
		s.Shots = append(s.Shots, present.ShotRow(&shots[i], d.zone))
	}
	if len(shots) > mostLateRows {
		s.Cut = fmt.Sprintf("The first %d are shown; the table as CSV has all.", mostLateRows)
	}
	w, working := d.works.ask(lateKey(x.head.ID))
	if working = working && !w.Ended; working {
		s.Progress, s.Refresh = &page.Progress{Done: w.Done, Of: w.Of}, 2
	}
	if w.Err != nil {
		s.Failed = reasonOf(w.Err)
	}
	if p.MayKeep(x.in.ID) {
		form := func(what, text string) *page.Form {
			f := httpkit.Blank(nil, row.Href+"/"+what, what, text)
			return &f
		}
		switch {
		case working:
			s.Stop = form("stop", "Stop")
		case len(stale) > 0:
			s.Again = form("again", "Recalculate "+present.Count(int64(len(stale)), "result", "results"))
		}
	}
	return httpkit.Page(c, http.StatusOK, s)
}

func lateKey(id uuid.UUID) string { return "late " + id.String() }

// lateAgain scores again, by what holds now, what was computed before a late entry.
func (d *Desk) lateAgain(c echo.Context) error {
	return d.aboutLate(c, func(ctx context.Context, p *caller, x *foundLate) error {
		_, stale, err := d.touched(ctx, x.in.Scope, &x.lateEntry)
		if err != nil {
			return err
		}
		by := p.Principal
		d.works.start(lateKey(x.head.ID), len(stale), false, func(ctx context.Context, told func(int)) (any, error) {
			f := review.For{By: by, Scope: x.in.Scope, Lab: x.in.ID, Shots: stale}
			_, err := review.Batch(ctx, d.Register, f, func(o review.Outcome) { told(o.Done) }, func(ctx context.Context, shot *view.ShotRow) (*lab.Score, error) {
				b, _, err := d.maker().Plain(ctx, x.in.Scope, shot)
				return b, err
			})
			return nil, err
		})
		return d.works.within(ctx, lateKey(x.head.ID), firstWait)
	})
}

func (d *Desk) lateStop(c echo.Context) error {
	return d.aboutLate(c, func(ctx context.Context, _ *caller, x *foundLate) error {
		d.works.end(lateKey(x.head.ID))
		return d.works.within(ctx, lateKey(x.head.ID), firstWait)
	})
}

func (d *Desk) aboutLate(c echo.Context, do func(context.Context, *caller, *foundLate) error) error {
	return d.post(c, nil, func(ctx context.Context, _ *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		x, err := d.findLate(c, &p)
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, x.in.ID); err != nil {
			return "", err
		}
		return page.LatePath(x.kind, x.head.ID.String()), do(ctx, &p, &x)
	}, func(c echo.Context, _ *httpkit.Filled, _ int) error { return d.lateFact(c) })
}

// lateCSV lists the strokes that a late entry touches.
func (d *Desk) lateCSV(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	x, err := d.findLate(c, &p)
	if err != nil {
		return err
	}
	shots, stale, err := d.touched(ctx, x.in.Scope, &x.lateEntry)
	if err != nil {
		return err
	}
	before := map[uuid.UUID]bool{}
	for i := range stale {
		before[stale[i].ID] = true
	}
	b, err := present.CSV([]string{"shot", "fired_at", "kind", "specimen", "location", "computed_before_entry"}, func(yield func([]string, error) bool) {
		for i := range shots {
			s := &shots[i].Shot
			if !yield([]string{shots[i].ID.String(), s.EffectiveAt.Time().UTC().Format(time.RFC3339Nano), s.Kind, s.Specimen, s.Location, map[bool]string{true: "yes", false: "no"}[before[shots[i].ID]]}, nil) {
				return
			}
		}
	})
	if err != nil {
		return err
	}
	return download(c, "late-"+x.head.ID.String()[:8]+".csv", b)
}

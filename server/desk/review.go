package desk

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/review"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// reviewRoutes adds the screens about sensors that were found outside their limits.
func (d *Desk) reviewRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathReviews, d.reviews, in)
	e.GET(page.PathNewReview, d.newReview, in)
	e.POST(page.PostReview, d.postReview, in)
	e.GET(page.PathReviews+"/:id", d.review, in)
	e.GET(page.PathReviews+"/:id/shots.csv", d.reviewCSV, in)
	e.POST(page.PathReviews+"/:id/again", d.reviewAgain, in)
	e.POST(page.PathReviews+"/:id/stop", d.reviewStop, in)
	e.POST(page.PathReviews+"/:id/withdraw", d.reviewWithdraw, in)
}

// reviewed is a review with what it is about.
type reviewed struct {
	ownedItem
	id     uuid.UUID
	review lab.Review
	found  view.Found
	row    *view.ReviewRow
}

// foundBy looks up the calibration that found a sensor outside its limits.
func (d *Desk) foundBy(ctx context.Context, p *caller, calibration uuid.UUID) (reviewed, error) {
	var r reviewed
	k, err := d.Views.Calibration(ctx, p.Scope, calibration)
	if err != nil {
		return r, err
	}
	if r.ownedItem, err = d.ownedItem(ctx, p, k.Calibration.Item); err != nil {
		return r, err
	}
	all, err := d.Views.FoundOut(ctx, r.in.Scope, r.item.ID)
	if err != nil {
		return r, err
	}
	i := slices.IndexFunc(all, func(f view.Found) bool { return f.Found.ID == calibration })
	if i < 0 {
		return r, notFound("calibration that found a sensitivity changed")
	}
	r.found = all[i]
	return r, nil
}

// recorded looks up a review.
func (d *Desk) recorded(c echo.Context, p *caller) (reviewed, error) {
	ctx := c.Request().Context()
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return reviewed{}, notFound("review")
	}
	row, err := d.Views.Review(ctx, p.Scope, id)
	if err != nil {
		return reviewed{}, err
	}
	r := reviewed{id: id, review: row.Review, row: &row}
	if r.ownedItem, err = d.ownedItem(ctx, p, row.Review.Item); err != nil {
		return r, err
	}
	for id, to := range map[uuid.UUID]*view.CalibrationRow{row.Review.Found: &r.found.Found, row.Review.Good: &r.found.Good} {
		if *to, err = d.Views.Calibration(ctx, r.in.Scope, id); err != nil {
			return r, err
		}
	}
	r.found.State, _ = r.found.Found.Calibration.AsFound(&r.found.Good.Calibration)
	return r, nil
}

func (d *Desk) maker() *review.Maker { return &review.Maker{Views: d.Views, Evidence: d.Evidence} }

// reviews lists what was found, and what was made of it.
func (d *Desk) reviews(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Reviews{Frame: d.frame(&p, "Changed sensitivities", page.PathHealth)}
	several := len(p.names.All()) > 1
	err = every(ctx, func(q view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, p.Scope, "", q) }, func(i *view.ItemRow) error {
		found, err := d.Views.FoundOut(ctx, p.Scope, i.ID)
		if err != nil || len(found) == 0 {
			return err
		}
		name := ""
		if several {
			if name, err = p.names.Of(ctx, i.Lab); err != nil {
				return err
			}
		}
		for j := range found {
			s.Rows = append(s.Rows, d.foundRow(name, i, &found[j]))
		}
		return nil
	})
	slices.SortStableFunc(s.Rows, func(a, b page.ReviewListRow) int { return b.On.Compare(a.On) })
	if err != nil {
		return err
	}
	return d.show(c, s)
}

func (d *Desk) foundRow(of string, i *view.ItemRow, f *view.Found) page.ReviewListRow {
	on, _ := f.Found.Calibration.Days()
	row := page.ReviewListRow{Lab: of, Item: i.Item.Title(), On: on.In(d.zone), Text: present.FoundReason(f),
		State: page.Status{Level: page.Bad, Word: "no review yet"}, Href: page.NewReviewPath(f.Found.ID.String())}
	if f.Review != nil {
		row.State, row.Href = page.Status{Level: page.OK, Word: "reviewed"}, page.ReviewPath(f.Review.ID.String())
		if n := f.Review.Review.Number; n != "" {
			row.State.Word += ", " + n
		}
	}
	return row
}

// foundOutOf lists what calibrations of an item found, for its own screen.
func (d *Desk) foundOutOf(ctx context.Context, p *caller, item uuid.UUID) ([]page.ReviewListRow, error) {
	i, err := d.Views.Item(ctx, p.Scope, item)
	if err != nil {
		return nil, err
	}
	found, err := d.Views.FoundOut(ctx, p.Scope, item)
	var out []page.ReviewListRow
	for j := range found {
		out = append(out, d.foundRow("", &i, &found[j]))
	}
	return out, err
}

// newReview shows what a course of the sensitivity would change.
func (d *Desk) newReview(c echo.Context) error {
	return d.newReviewPage(c, c.QueryParam("found"), nil, http.StatusOK)
}

func (d *Desk) newReviewPage(c echo.Context, found string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	id, err := uuid.Parse(found)
	if err != nil {
		return notFound("calibration")
	}
	r, err := d.foundBy(ctx, &p, id)
	if err != nil {
		return err
	}
	s := d.reviewFrame(&p, &r)
	s.Choose = &page.ReviewChoice{Found: found, Course: c.FormValue("course"), StepAt: c.FormValue("step_at")}
	if s.Choose.Course == "" {
		s.Choose.Course = lab.CourseWhole
	}
	r.review = courseOf(&r.found, s.Choose, d.Now().In(d.zone))
	if s.Choose.Error != "" {
		return httpkit.Page(c, http.StatusUnprocessableEntity, s)
	}
	lines, err := d.tried(ctx, &p, &r, &s)
	if err != nil {
		return err
	}
	d.fillReview(&s, &r, lines)
	if s.Progress == nil && p.MayKeep(r.in.ID) {
		f := httpkit.Blank(page.ReviewFields(), page.PostReview, "review", "Record the review and the new results")
		f.Hidden = map[string]string{"found": found, "course": s.Choose.Course, "step_at": s.Choose.StepAt}
		if typed != nil {
			typed.Into(&f)
			s.Notices = append(s.Notices, typed.Other...)
		}
		s.Form = &f
	}
	return httpkit.Page(c, status, s)
}

// courseOf makes the review that a choice stands for; what is wrong with the
// moment of the step is noted in the choice.
func courseOf(f *view.Found, c *page.ReviewChoice, now time.Time) lab.Review {
	r := lab.Review{Item: f.Found.Calibration.Item, Found: f.Found.ID, Good: f.Good.ID, From: f.Good.Calibration.EffectiveAt, Until: f.Found.Calibration.EffectiveAt,
		GoodSensitivity: *f.Good.Calibration.Sensitivity, FoundSensitivity: f.State.Sensitivity, SensitivityUnit: f.Good.Calibration.SensitivityUnit, Course: c.Course}
	if c.Course != lab.CourseStep {
		return r
	}
	t := httpkit.Filled{Values: map[string]string{"step_at": c.StepAt}, Errors: map[string]string{}}
	if c.StepAt == "" {
		c.Error = "Give the moment from which the found sensitivity is taken to hold."
		return r
	}
	r.StepAt = lab.At(t.Moment("step_at", now))
	if c.Error = t.Errors["step_at"]; c.Error == "" && (r.StepAt < r.From || r.StepAt >= r.Until) {
		c.Error = fmt.Sprintf("The moment lies outside the span in doubt. Give one from %s up to %s.", r.From.Time().In(now.Location()).Format("2006-01-02 15:04"), r.Until.Time().In(now.Location()).Format("2006-01-02 15:04"))
	}
	return r
}

// tried computes what a review would change, in the background where that takes
// a while; the screen shows how far it is.
func (d *Desk) tried(ctx context.Context, p *caller, r *reviewed, s *page.Review) ([]present.Reviewed, error) {
	shots, err := d.maker().Touched(ctx, r.in.Scope, &r.review)
	if err != nil {
		return nil, err
	}
	key := fmt.Sprintf("try %s %s %s %d %d", p.ID, r.found.Found.ID, r.review.Course, r.review.StepAt, len(shots))
	if _, ok := d.works.ask(key); !ok {
		d.works.start(key, len(shots), true, func(ctx context.Context, told func(int)) (any, error) {
			return d.compare(ctx, r, shots, d.maker().Try, told)
		})
		if err := d.works.within(ctx, key, firstWait); err != nil {
			return nil, err
		}
	}
	w, _ := d.works.take(key)
	if !w.Ended {
		s.Progress, s.Refresh = &page.Progress{Done: w.Done, Of: w.Of}, 2
		return nil, nil
	}
	made, _ := w.Made.([]present.Reviewed)
	return made, w.Err
}

// compare reads or computes every stroke before and after.
func (d *Desk) compare(ctx context.Context, r *reviewed, shots []view.ShotRow, lines review.Judge, told func(int)) ([]present.Reviewed, error) {
	out := make([]present.Reviewed, 0, len(shots))
	with := map[string][]view.CampaignRow{}
	err := lines(ctx, r.in.Scope, r.id, &r.review, shots, func(l *review.Line) (err error) {
		specimen := lab.Fold(l.Shot.Shot.Specimen)
		if _, ok := with[specimen]; !ok {
			if with[specimen], err = present.CampaignsWith(ctx, d.Views, r.in.Scope, specimen); err != nil {
				return err
			}
		}
		out = append(out, present.Reviewed{Shot: l.Shot, Campaigns: with[specimen], Position: l.Position, Held: l.Held, Unit: r.review.SensitivityUnit,
			Before: slim(l.Before), After: slim(l.After), BeforeNo: l.BeforeNo, AfterNo: l.AfterNo, Why: l.Why})
		told(len(out))
		return ctx.Err()
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(out, func(a, b present.Reviewed) int { return present.ByGroup(&a, &b) })
	return out, nil
}

// slim keeps the results of a score alone: many are held at once.
func slim(s *lab.Score) *lab.Score {
	if s == nil {
		return nil
	}
	return &lab.Score{Results: s.Results}
}

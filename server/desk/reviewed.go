package desk

import (
	"context"
	"errors"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/review"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// postReview records a review, and begins to score the strokes again.
func (d *Desk) postReview(c echo.Context) error {
	return d.post(c, page.ReviewFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		id, err := uuid.Parse(c.FormValue("found"))
		if err != nil {
			return "", notFound("calibration")
		}
		r, err := d.foundBy(ctx, &p, id)
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, r.in.ID); err != nil {
			return "", err
		}
		choice := page.ReviewChoice{Course: c.FormValue("course"), StepAt: c.FormValue("step_at")}
		r.review = courseOf(&r.found, &choice, d.Now().In(d.zone))
		if choice.Error != "" {
			f.Other = append(f.Other, page.Notice{Level: page.Bad, Text: choice.Error})
			return "", problem.New(problem.Invalid, choice.Error, "Choose the moment again.")
		}
		b := &r.review
		b.Why, b.Number, b.Cause, b.Action, b.Told = f.Values["why"], f.Values["number"], f.Values["cause"], f.Values["action"], f.Values["told"]
		b.Significance, b.Halted, b.Resumed = f.Values["significance"], f.Values["halted"], f.Values["resumed"]
		if !f.OK() {
			return "", nil
		}
		if r.id, err = d.Register.Record(ctx, p.Principal, r.in, b); err != nil {
			return "", err
		}
		return done(page.ReviewPath(r.id.String()), "review"), d.apply(ctx, &p, &r)
	}, func(c echo.Context, f *httpkit.Filled, status int) error {
		return d.newReviewPage(c, c.FormValue("found"), f, status)
	})
}

// apply begins to record the results with a review.
func (d *Desk) apply(ctx context.Context, p *caller, r *reviewed) error {
	return d.rescore(ctx, p, r, d.maker().Apply)
}

type rescorer func(context.Context, *register.Register, review.For, func(review.Outcome)) (review.Outcome, error)

func (d *Desk) rescore(ctx context.Context, p *caller, r *reviewed, do rescorer) error {
	shots, err := d.maker().Touched(ctx, r.in.Scope, &r.review)
	if err != nil {
		return err
	}
	f := review.For{By: p.Principal, Scope: r.in.Scope, Lab: r.in.ID, ID: r.id, Review: &r.review, Shots: shots}
	d.works.start(recordKey(r.id), len(shots), false, func(ctx context.Context, told func(int)) (any, error) {
		o, err := do(ctx, d.Register, f, func(o review.Outcome) { told(o.Done) })
		if err != nil && !errors.Is(err, context.Canceled) {
			d.Log.Error("scoring again for a review", "review", r.id, "done", o.Done, "error", err)
		}
		return o, err
	})
	return d.works.within(ctx, recordKey(r.id), firstWait)
}

func recordKey(id uuid.UUID) string { return "record " + id.String() }

// review shows a review as it was recorded: the report of the nonconformity.
func (d *Desk) review(c echo.Context) error { return d.reviewPage(c, nil, http.StatusOK) }

func (d *Desk) reviewPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	r, err := d.recorded(c, &p)
	if err != nil {
		return err
	}
	s := d.reviewFrame(&p, &r)
	names, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	b := &r.review
	s.Recorded = &page.RecordedReview{Number: b.Number, At: r.row.RecordedAt.In(d.zone), By: names(r.row.Author), Course: present.Course(b, d.zone), Why: b.Why, Cause: b.Cause, Action: b.Action, Told: b.Told, Significance: b.Significance, Halted: b.Halted, Resumed: b.Resumed}
	if r.row.Withdrawn != nil {
		s.Recorded.Withdrawn = r.row.Withdrawn.Reason
	}
	said(c, &s.Frame, map[string]string{"review": "The review was recorded.", "withdrawn": "The review was withdrawn. The strokes are recalculated without it."})
	w, working := d.works.ask(recordKey(r.id))
	if working = working && !w.Ended; working {
		s.Progress, s.Refresh = &page.Progress{Done: w.Done, Of: w.Of}, 2
	}
	if w.Err != nil {
		s.Failed = reasonOf(w.Err)
	}
	lines, err := d.onRecord(ctx, &r)
	if err != nil {
		return err
	}
	left := d.fillReview(&s, &r, lines)
	s.CSV = page.ReviewPath(r.id.String()) + "/shots.csv"
	if p.MayKeep(r.in.ID) {
		d.reviewActions(&s, &r, working, left, typed)
	}
	return httpkit.Page(c, status, s)
}

func reasonOf(err error) string {
	if errors.Is(err, context.Canceled) {
		return "It was stopped before its end."
	}
	if p, ok := problem.As(err); ok {
		return httpkit.Sentence(p)
	}
	return "It ended by a fault of the program; the server’s log has it."
}

func (d *Desk) onRecord(ctx context.Context, r *reviewed) ([]present.Reviewed, error) {
	shots, err := d.maker().Touched(ctx, r.in.Scope, &r.review)
	if err != nil {
		return nil, err
	}
	return d.compare(ctx, r, shots, d.maker().Stands, func(int) {})
}

// reviewActions offers what can be done about a review now.
func (d *Desk) reviewActions(s *page.Review, r *reviewed, working bool, left int, typed *httpkit.Filled) {
	path := page.ReviewPath(r.id.String())
	form := func(fields []page.Field, what, text string) *page.Form {
		f := httpkit.Blank(fields, path+"/"+what, what, text)
		return &f
	}
	switch {
	case working:
		s.Stop = form(nil, "stop", "Stop")
		return
	case r.row.Withdrawn != nil:
		return
	case left > 0:
		s.Again = form(nil, "again", "Recalculate the rest")
	}
	s.Withdraw = form(page.ReasonFields(), "withdraw", "Withdraw the review")
	if typed != nil {
		typed.Into(s.Withdraw)
		s.Notices = append(s.Notices, typed.Other...)
	}
}

// about runs a form on the screen of a review, for those who keep its lab.
func (d *Desk) aboutReview(c echo.Context, fields []page.Field, do func(context.Context, *caller, *reviewed, *httpkit.Filled) (string, error)) error {
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		r, err := d.recorded(c, &p)
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, r.in.ID); err != nil || !f.OK() {
			return "", err
		}
		what, err := do(ctx, &p, &r, f)
		return done(page.ReviewPath(r.id.String()), what), err
	}, func(c echo.Context, f *httpkit.Filled, status int) error { return d.reviewPage(c, f, status) })
}

func (d *Desk) reviewAgain(c echo.Context) error {
	return d.aboutReview(c, nil, func(ctx context.Context, p *caller, r *reviewed, _ *httpkit.Filled) (string, error) {
		if r.row.Withdrawn != nil {
			return "", problem.New(problem.Conflict, "The review was withdrawn.", "Review the calibration again.")
		}
		return "again", d.apply(ctx, p, r)
	})
}

func (d *Desk) reviewStop(c echo.Context) error {
	return d.aboutReview(c, nil, func(ctx context.Context, _ *caller, r *reviewed, _ *httpkit.Filled) (string, error) {
		d.works.end(recordKey(r.id))
		return "stop", d.works.within(ctx, recordKey(r.id), firstWait)
	})
}

// reviewWithdraw withdraws a review, and scores again without it what it had changed.
func (d *Desk) reviewWithdraw(c echo.Context) error {
	return d.aboutReview(c, page.ReasonFields(), func(ctx context.Context, p *caller, r *reviewed, f *httpkit.Filled) (string, error) {
		if r.row.Withdrawn != nil {
			return "withdrawn", nil
		}
		if err := d.Register.Withdraw(ctx, p.Principal, r.in.ID, r.row.Lab, r.id, lab.KindReview, f.Values["reason"]); err != nil {
			return "", err
		}
		return "withdrawn", d.rescore(ctx, p, r, d.maker().Undo)
	})
}

// reviewCSV gives the strokes of a review, before and after, in full digits.
func (d *Desk) reviewCSV(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	r, err := d.recorded(c, &p)
	if err != nil {
		return err
	}
	lines, err := d.onRecord(c.Request().Context(), &r)
	if err != nil {
		return err
	}
	b, err := present.CSV(present.ReviewHead(), func(yield func([]string, error) bool) {
		for i := range lines {
			if !yield(lines[i].Cells(), nil) {
				return
			}
		}
	})
	if err != nil {
		return err
	}
	return download(c, "review-"+r.id.String()[:8]+".csv", b)
}

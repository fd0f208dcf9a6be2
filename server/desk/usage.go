package desk

import (
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// mostUsage bounds the strokes that one report reads.
const mostUsage = 500_000

// report adds up strokes and rig hours.
type report struct {
	by     string
	zone   *time.Location
	owners map[string]owner // by folded specimen
	rigs   map[uuid.UUID]string
	rows   map[string]*share
	filed  map[rigMonth]int64 // strokes with a file of their own
}

// owner is the campaign that plans a specimen, and who it belongs to.
type owner struct{ owner, campaign string }

// share is what one name used.
type share struct {
	strokes int64
	days    map[rigDay][2]lab.Time // first and last stroke
	booked  lab.Time               // length of the bookings
}

type rigDay struct {
	rig uuid.UUID
	day string
}

// hours adds up first to last stroke over rigs and days.
func (s *share) hours() float64 {
	var ms lab.Time
	for _, x := range s.days {
		ms += x[1] - x[0]
	}
	return float64(ms) / 3_600_000
}

// name gives the row that a stroke belongs to.
func (r *report) name(s *lab.Shot) string {
	of := r.owners[lab.Fold(s.Specimen)]
	switch r.by {
	case "operator":
		return cmp.Or(s.Operator, "not recorded")
	case "rig":
		return rigName(r.rigs, s.Rig)
	case "month":
		return s.EffectiveAt.Time().In(r.zone).Format("2006-01")
	case "campaign":
		return cmp.Or(of.campaign, "no campaign")
	case "department":
		return cmp.Or(s.Extra["department"], of.owner, "no department")
	case "project":
		return cmp.Or(s.Extra["project"], of.campaign, "no project")
	}
	// What the acquisition said goes before the plan.
	return cmp.Or(s.Extra["department"], s.Extra["project"], of.owner, "no department or project")
}

// row gives the row of a name, made where it is not there.
func (r *report) row(name string) *share {
	x := r.rows[name]
	if x == nil {
		x = &share{days: map[rigDay][2]lab.Time{}}
		r.rows[name] = x
	}
	return x
}

func (r *report) add(s *lab.Shot) {
	x := r.row(r.name(s))
	x.strokes++
	r.filed[rigMonth{s.Rig, lab.At(monthOf(s.EffectiveAt.Time().In(r.zone)))}]++
	at := s.EffectiveAt
	key := rigDay{s.Rig, at.Time().In(r.zone).Format(time.DateOnly)}
	d, ok := x.days[key]
	if !ok {
		d = [2]lab.Time{at, at}
	}
	x.days[key] = [2]lab.Time{min(d[0], at), max(d[1], at)}
}

// usageAsked is a report as it was asked for.
type usageAsked struct {
	page.UsageReport
	sc       scope.Scope
	from, to time.Time
}

func (d *Desk) askedUsage(c echo.Context, p *caller) (usageAsked, error) {
	now := d.Now().In(d.zone)
	q := usageAsked{sc: p.Scope}
	q.Frame = d.frame(p, "Who used the rigs", page.PathHealth)
	q.Lab, q.By = c.QueryParam("lab"), cmp.Or(c.QueryParam("by"), "owner")
	q.From = cmp.Or(c.QueryParam("from"), now.AddDate(0, -2, 1-now.Day()).Format("2006-01"))
	q.To = cmp.Or(c.QueryParam("to"), now.Format("2006-01"))
	if labs := p.names.All(); len(labs) > 1 {
		q.Labs = choices(labs)
	}
	if !slices.ContainsFunc(q.UsageBy(), func(x page.Choice) bool { return x.Value == q.By }) {
		q.By = "owner"
	}
	var ok [2]bool
	q.from, ok[0] = month(q.From, d.zone)
	q.to, ok[1] = month(q.To, d.zone)
	switch {
	case !ok[0]:
		q.Bad = fmt.Sprintf("“%s” is not a month. Write it as %s.", q.From, now.Format("2006-01"))
	case !ok[1]:
		q.Bad = fmt.Sprintf("“%s” is not a month. Write it as %s.", q.To, now.Format("2006-01"))
	case q.to.Before(q.from):
		q.Bad = "The last month lies before the first. Exchange them."
	}
	q.to = q.to.AddDate(0, 1, 0)
	asked := url.Values{"lab": {q.Lab}, "by": {q.By}, "from": {q.From}, "to": {q.To}}.Encode()
	q.CSV, q.PDF = page.PathUsage+".csv?"+asked, page.PathUsage+".pdf?"+asked
	if q.Lab == "" {
		return q, nil
	}
	in, err := d.place(c.Request().Context(), p, q.Lab)
	q.sc = in.Scope
	return q, err
}

func month(s string, zone *time.Location) (time.Time, bool) {
	t, err := time.ParseInLocation("2006-01", s, zone)
	return t, err == nil && t.Year() >= 1970 && t.Year() <= 2200
}

// used reads the strokes of a report.
func (d *Desk) used(ctx context.Context, q *usageAsked) (*report, error) {
	r := &report{by: q.By, zone: d.zone, owners: map[string]owner{}, rows: map[string]*share{}, filed: map[rigMonth]int64{}}
	var err error
	if r.rigs, err = d.rigNames(ctx, q.sc); err != nil {
		return nil, err
	}
	err = every(ctx, func(p view.Page) (view.List[view.CampaignRow], error) { return d.Views.Campaigns(ctx, q.sc, p) }, func(k *view.CampaignRow) error {
		for _, s := range k.Campaign.Specimens {
			r.owners[lab.Fold(s)] = owner{cmp.Or(k.Campaign.Owner, k.Campaign.Name), k.Campaign.Name}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	f := view.ShotFilter{From: lab.At(q.from), To: lab.At(q.to), Oldest: true}
	for n, p := 0, (view.Page{Limit: view.MaxLimit}); ; {
		list, err := d.Views.Shots(ctx, q.sc, f, p)
		if err != nil {
			return nil, err
		}
		for i := range list.Rows {
			if s := &list.Rows[i].Shot; s.Kind != lab.ShotSecondFile {
				r.add(s)
			}
		}
		if n += len(list.Rows); list.Next == "" {
			if err := r.addBare(ctx, d.Views, q); err != nil {
				return nil, err
			}
			return r, r.addBooked(ctx, d.Views, q)
		}
		if n >= mostUsage {
			return nil, problem.New(problem.TooLarge, fmt.Sprintf("There are more than %d strokes in these months.", mostUsage), "Choose fewer months, or one lab.")
		}
		p.After = list.Next
	}
}

// sorted lists the names by strokes, months by time.
func (r *report) sorted() []string {
	var names []string
	for name := range r.rows {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		if r.by == "month" {
			return cmp.Compare(a, b)
		}
		return cmp.Or(-cmp.Compare(r.rows[a].strokes, r.rows[b].strokes), cmp.Compare(a, b))
	})
	return names
}

func (r *report) total() (strokes int64, hours float64) {
	for _, x := range r.rows {
		strokes, hours = strokes+x.strokes, hours+x.hours()
	}
	return strokes, hours
}

func (d *Desk) usage(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	q, err := d.askedUsage(c, &p)
	if err != nil {
		return err
	}
	if q.Bad != "" {
		return httpkit.Page(c, http.StatusUnprocessableEntity, q.UsageReport)
	}
	r, err := d.used(c.Request().Context(), &q)
	if err != nil {
		return err
	}
	strokes, hours := r.total()
	q.Strokes, q.Hours, q.Booked = page.ShowCount(strokes), page.Show(hours, "h"), r.bookedShown(r.totalBooked())
	for _, name := range r.sorted() {
		x := r.rows[name]
		part := percentOf(float64(x.strokes), float64(strokes))
		row := page.UsageRow{Name: name, Strokes: page.ShowCount(x.strokes), StrokeShare: page.Show(part, "%"), SharePercent: int(part), Hours: page.Show(x.hours(), "h"), HourShare: page.Missing("no hours"), Booked: r.bookedShown(x.booked)}
		if hours > 0 {
			row.HourShare = page.Show(percentOf(x.hours(), hours), "%")
		}
		q.Rows = append(q.Rows, row)
	}
	return d.show(c, q.UsageReport)
}

func percentOf(v, of float64) float64 {
	if of == 0 {
		return 0
	}
	return 100 * v / of
}

func (d *Desk) usageCSV(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	q, err := d.askedUsage(c, &p)
	if err != nil {
		return err
	}
	if q.Bad != "" {
		return problem.New(problem.Invalid, q.Bad, "Write months as 2026-03.")
	}
	r, err := d.used(c.Request().Context(), &q)
	if err != nil {
		return err
	}
	strokes, hours := r.total()
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	rows := [][]string{{q.By, "strokes", "stroke_share_percent", "rig_hours", "rig_hour_share_percent", "booked_hours"}}
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }
	for _, name := range r.sorted() {
		x := r.rows[name]
		rows = append(rows, []string{present.Guard(name), strconv.FormatInt(x.strokes, 10), number(percentOf(float64(x.strokes), float64(strokes))), number(x.hours()), number(percentOf(x.hours(), hours)), r.bookedText(x.booked, 3)})
	}
	if err := w.WriteAll(rows); err != nil {
		return err
	}
	return download(c, "usage.csv", b.Bytes())
}

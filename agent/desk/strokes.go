package desk

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/speed"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const readingsAtOnce = 20

func (d *Desk) strokes(c echo.Context) error {
	p, err := d.strokesPage(c, nil)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, *p)
}

func (d *Desk) strokesPage(c echo.Context, t *tried) (*page.Strokes, error) {
	ctx, now, in := c.Request().Context(), time.Now(), d.unit(c.Request().Context())
	h, err := speed.Read(ctx, d.read, d.scope(), d.Intake.Rig(), now)
	if err != nil {
		return nil, err
	}
	p := &page.Strokes{Frame: d.frame(c, "Strokes", page.PathStrokes), Service: present.Moment(h.Service, time.Local)}
	if h.Ram != nil {
		also, err := d.labs(ctx)
		if err != nil {
			return nil, err
		}
		u, err := d.read.RamUsage(ctx, d.scope(), h.Ram.ID, now, also...)
		if err != nil {
			return nil, err
		}
		p.Ram, p.Since = h.Ram.Item.Title(), present.Count(u.StrokesSinceService, "stroke", "strokes")
		if u.Interval > 0 {
			p.Since += fmt.Sprintf(" of %s", page.ShowCount(u.Interval))
		}
	}
	p.Dry = page.Form{ID: "dry", Action: page.PathStrokes, Key: uuid.NewString(), Fields: page.DryFields(in), Submit: "Count them", Values: map[string]string{"number": "1"}}
	if n := len(h.Since); n > 0 {
		p.Dry.Values["pressure"] = present.PressureText(h.Since[n-1].PressureKPa, in)
	}
	p.Counter = page.Form{ID: "counter", Action: page.PostCounter, Key: uuid.NewString(), Fields: page.CounterFields(), Submit: "Enter the reading"}
	entries, err := d.read.Unfiled(ctx, d.scope(), d.Intake.Rig(), view.Page{Limit: listAtOnce})
	if err != nil {
		return nil, err
	}
	for i := range entries.Rows {
		row := bareRow(&entries.Rows[i], in)
		row.By = d.personName(entries.Rows[i].Author)
		p.Entries = append(p.Entries, row)
	}
	if err := d.foundEntries(ctx, p, entries.Next != ""); err != nil {
		return nil, err
	}
	reads, err := d.read.Readings(ctx, d.scope(), d.Intake.Rig(), 0, lab.At(now)+1)
	if err != nil {
		return nil, err
	}
	slices.Reverse(reads)
	for i := range reads[:min(len(reads), readingsAtOnce)] {
		p.Reads = append(p.Reads, readRow(&reads[i]))
	}
	if len(reads) > 0 {
		p.Last = fmt.Sprintf("Last read: %s strokes, %s.", page.ShowCount(reads[0].Reading.Counter), page.ShowMoment(reads[0].Reading.EffectiveAt.Time().In(time.Local)))
	}
	for _, f := range []*page.Form{&p.Dry, &p.Counter} {
		if t != nil && f.ID == t.form {
			t.into(f)
		}
	}
	return p, nil
}

func withdraw(id uuid.UUID, kind record.Kind) page.Form {
	return page.Form{Action: page.PostWithdraw, Submit: "Take it back", Hidden: map[string]string{"doc": id.String(), "kind": string(kind)}}
}

func bareRow(r *view.StrokesRow, in string) page.BareRow {
	s := &r.Strokes
	row := page.BareRow{At: s.EffectiveAt.Time().In(time.Local), What: present.BareWords(s), Hit: present.BareHit(s), Reason: s.Reason,
		Pressure: page.Pressure{Number: page.Missing("not recorded")}, Withdraw: withdraw(r.ID, lab.KindStrokes)}
	if s.TankPressureKPaGauge != nil {
		row.Pressure = present.Pressure(*s.TankPressureKPaGauge, in)
	}
	return row
}

func readRow(r *view.ReadingRow) page.ReadRow {
	row := page.ReadRow{At: r.Reading.EffectiveAt.Time().In(time.Local), Counter: page.ShowCount(r.Reading.Counter), Counted: "–", Recorded: "–", Reason: r.Reading.Reason,
		State: page.Status{Word: "first reading"}, Withdraw: withdraw(r.ID, lab.KindCounterRead)}
	if r.Since == 0 {
		return row
	}
	row.Counted, row.Recorded = page.ShowCount(r.Counted), page.ShowCount(r.Recorded)
	switch n := r.Unaccounted(); {
	case r.Counted < 0:
		row.State = page.Status{Level: page.Warn, Word: "the counter went back"}
	case n > 0:
		row.State = page.Status{Level: page.Warn, Word: fmt.Sprintf("%s unaccounted", page.ShowCount(n))}
	case r.Recorded > r.Counted:
		row.State = page.Status{Level: page.Warn, Word: fmt.Sprintf("%s more recorded than counted", page.ShowCount(r.Recorded-r.Counted))}
	default:
		row.State = page.Status{Level: page.OK, Word: "all accounted for"}
	}
	return row
}

// whole reads a whole number that a person typed.
func whole(text string) (int64, error) {
	v, err := page.ParseDecimal(text)
	if err == nil && (v != math.Trunc(v) || math.Abs(v) > 1e15) {
		err = fmt.Errorf("%s is no whole number", text)
	}
	return int64(v), err
}

// keyed takes the form's key as the id of what it states: sent twice, it is one.
func keyed(c echo.Context) (uuid.UUID, error) {
	id, err := uuid.Parse(c.FormValue(page.KeyField))
	if err != nil {
		return id, problem.New(problem.Invalid, "This page is out of date, so nothing was saved.", "Open the screen again and enter it there.")
	}
	return id, nil
}

func (d *Desk) refuse(c echo.Context, form string, typed, faults map[string]string) error {
	p, err := d.strokesPage(c, &tried{form: form, typed: typed, faults: faults})
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
}

// dryStrokes counts strokes of which there is no file.
func (d *Desk) dryStrokes(c echo.Context) error {
	id, err := keyed(c)
	if err != nil {
		return err
	}
	in := d.unit(c.Request().Context())
	typed := map[string]string{"number": c.FormValue("number"), "pressure": c.FormValue("pressure")}
	faults := map[string]string{}
	s := &lab.Strokes{Rig: d.Intake.Rig(), Kind: lab.ShotDry, EffectiveAt: lab.At(time.Now())}
	if s.Number, err = whole(typed["number"]); err == nil && (s.Number < 1 || s.Number > lab.MaxStrokes) {
		err = fmt.Errorf("give between 1 and %d strokes", lab.MaxStrokes)
	}
	if err != nil {
		faults["number"] = err.Error()
	}
	if typed["pressure"] != "" {
		kpa, err := present.KPa(typed["pressure"], in)
		if err != nil {
			faults["pressure"] = err.Error()
		} else if c.FormValue(page.AboveField) == "" {
			above, err := d.aboveRated(c.Request().Context(), kpa, in)
			if err != nil {
				return err
			}
			if above != "" {
				faults["pressure"], typed[page.AboveField] = above, "ask"
			}
		}
		s.TankPressureKPaGauge = &kpa
	}
	if len(faults) > 0 {
		return d.refuse(c, "dry", typed, faults)
	}
	if err := d.write(c, id, s); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathStrokes)
}

// readCounter records what the controller's counter shows. Where it does not
// agree with what is recorded, it wants a reason first.
func (d *Desk) readCounter(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := keyed(c)
	if err != nil {
		return err
	}
	typed := map[string]string{"counter": c.FormValue("counter"), "reason": c.FormValue("reason")}
	n, err := whole(typed["counter"])
	if err != nil || n < 0 {
		return d.refuse(c, "counter", typed, map[string]string{"counter": "Give the number of strokes that the counter shows."})
	}
	now := lab.At(time.Now())
	reads, err := d.read.Readings(ctx, d.scope(), d.Intake.Rig(), 0, now)
	if err != nil {
		return err
	}
	if len(reads) > 0 && typed["reason"] == "" && reads[len(reads)-1].ID != id {
		last := reads[len(reads)-1].Reading
		recorded, err := d.read.Strokes(ctx, d.scope(), d.Intake.Rig(), last.EffectiveAt+1, now)
		if err != nil {
			return err
		}
		why := ""
		switch counted := n - last.Counter; {
		case counted < 0:
			why = "The counter went back from " + strconv.FormatInt(last.Counter, 10) + ". Say why, as: controller exchanged."
		case counted > recorded:
			why = fmt.Sprintf("The counter has %d strokes since the last reading, %d are recorded: %d are unaccounted. Say why.", counted, recorded, counted-recorded)
		}
		if why != "" {
			return d.refuse(c, "counter", typed, map[string]string{"reason": why})
		}
	}
	if err := d.write(c, id, &lab.CounterRead{Rig: d.Intake.Rig(), Counter: n, EffectiveAt: now, Reason: typed["reason"]}); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathStrokes)
}

// takeBack withdraws an entry that was a mistake.
func (d *Desk) takeBack(c echo.Context) error {
	id, err := d.formID(c, "doc")
	if err != nil {
		return err
	}
	kind := record.Kind(c.FormValue("kind"))
	if kind != lab.KindStrokes && kind != lab.KindCounterRead {
		return problem.New(problem.Invalid, "Only strokes and readings are taken back here.", "Reload the page and try again.")
	}
	if err := d.write(c, id, &lab.Withdrawn{Doc: id, DocKind: kind, Reason: "entered by mistake"}); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathStrokes)
}

package desk

import (
	"cmp"
	"fmt"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/web/page"
	"thudbook/web/paper"
)

// usagePDF is the report of who used the rigs as a file to send and to keep.
func (d *Desk) usagePDF(c echo.Context) error {
	ctx := c.Request().Context()
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
	r, err := d.used(ctx, &q)
	if err != nil {
		return err
	}
	of := "all that you may see"
	if q.Lab != "" {
		in, err := d.place(ctx, &p, q.Lab)
		if err != nil {
			return err
		}
		if of, err = p.names.Of(ctx, in.ID); err != nil {
			return err
		}
	}
	by := q.By
	for _, x := range q.UsageBy() {
		if x.Value == q.By {
			by = x.Text
		}
	}
	strokes, hours := r.total()
	report := paper.Report{Title: "Who used the rigs", Facts: [][2]string{{"Lab", of}, {"Months", q.From + " to " + q.To}},
		Head: []string{by, "Strokes", "Share, %", "Rig hours, h", "Share, %", "Booked, h"}, Widths: []float64{6, 2, 2, 2.4, 2, 2}, Right: []bool{false, true, true, true, true, true},
		Foot: []string{"in all", strconv.FormatInt(strokes, 10), "", oneDigit(hours), "", r.bookedText(r.totalBooked(), 1)}, Notes: []string{page.UsageCounts, page.NoCertificate},
		Made: d.Now().In(d.zone), By: cmp.Or(d.Name, "Thudbook server") + ", Thudbook " + d.Version}
	for _, name := range r.sorted() {
		x := r.rows[name]
		report.Rows = append(report.Rows, []string{name, strconv.FormatInt(x.strokes, 10), oneDigit(percentOf(float64(x.strokes), float64(strokes))), oneDigit(x.hours()), oneDigit(percentOf(x.hours(), hours)), r.bookedText(x.booked, 1)})
	}
	b, err := report.PDF()
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, fmt.Sprintf("attachment; filename=\"usage-%s-%s.pdf\"", q.From, q.To))
	return c.Blob(http.StatusOK, "application/pdf", b)
}

func oneDigit(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

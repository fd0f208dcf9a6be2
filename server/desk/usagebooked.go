package desk

import (
	"cmp"
	"context"
	"strconv"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// tellsBooked says that bookings can be shared out as a report is: they name
// neither an operator nor a campaign.
func (r *report) tellsBooked() bool { return r.by != "operator" && r.by != "campaign" }

// addBooked adds the hours that the rigs are booked for in the months of a
// report. What was cancelled does not count; of two bookings that clash both do.
func (r *report) addBooked(ctx context.Context, read *view.Reader, q *usageAsked) error {
	if !r.tellsBooked() {
		return nil
	}
	known := map[string]string{}
	for name := range r.rows {
		known[lab.Fold(name)] = name
	}
	for at := q.from; at.Before(q.to); at = at.AddDate(0, 1, 0) {
		from, to := lab.At(at), lab.At(at.AddDate(0, 1, 0))
		rows, err := read.Bookings(ctx, q.sc, view.BookingFilter{From: from, To: to})
		if err != nil {
			return err
		}
		for i := range rows {
			b := &rows[i].Booking
			name := at.Format("2006-01")
			switch r.by {
			case "rig":
				name = rigName(r.rigs, b.Rig)
			case "project":
				name = cmp.Or(b.Project, "no project")
			case "department", "owner":
				name = b.Department
			}
			// As the shots write it, whose own spelling is the row's.
			if known[lab.Fold(name)] == "" {
				known[lab.Fold(name)] = name
			}
			r.row(known[lab.Fold(name)]).booked += min(b.To, to) - max(b.From, from)
		}
	}
	return nil
}

func hoursOf(t lab.Time) float64 { return float64(t) / 3_600_000 }

// bookedShown is what a row of the screen says.
func (r *report) bookedShown(t lab.Time) page.Number {
	if !r.tellsBooked() {
		return page.Missing("a booking does not say")
	}
	return page.Show(hoursOf(t), "h")
}

// bookedText is what a row of a file says; "" where bookings cannot tell.
func (r *report) bookedText(t lab.Time, digits int) string {
	if !r.tellsBooked() {
		return ""
	}
	return strconv.FormatFloat(hoursOf(t), 'f', digits, 64)
}

func (r *report) totalBooked() (t lab.Time) {
	for _, x := range r.rows {
		t += x.booked
	}
	return t
}

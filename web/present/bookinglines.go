package present

import (
	"strconv"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/view"
)

// BookingLines gives bookings as lines of a table, with a head. Times are RFC
// 3339 in a zone; hours are decimal.
func BookingLines(rows []view.BookingRow, zone *time.Location, rig func(uuid.UUID) string, of func(*view.BookingRow) string) [][]string {
	lines := [][]string{{"id", "lab", "rig", "from", "to", "hours", "department", "project", "who", "note", "state", "clashes_with", "anyway_because", "cancelled_because"}}
	for i := range rows {
		r := &rows[i]
		b := &r.Booking
		state, why := "booked", ""
		switch {
		case !r.Stands():
			state, why = "cancelled", r.Withdrawn.Reason
		case len(r.Clashes) > 0:
			state = "clash"
		}
		line := []string{r.ID.String(), of(r), rig(b.Rig), b.From.Time().In(zone).Format(time.RFC3339), b.To.Time().In(zone).Format(time.RFC3339), strconv.FormatFloat(b.Hours(), 'f', 3, 64),
			b.Department, b.Project, b.Who, b.Note, state, ClashWith(r), b.Anyway, why}
		for j := range line {
			line[j] = Guard(line[j])
		}
		lines = append(lines, line)
	}
	return lines
}

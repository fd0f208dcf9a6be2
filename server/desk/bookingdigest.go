package desk

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// clashesAhead is for how many days after the day of a digest it tells clashes.
const clashesAhead = 14

// booked lists the bookings of the day after, and what clashes in the days to come.
func (g *digester) booked(ctx context.Context) error {
	rows, err := g.d.Views.Bookings(ctx, g.sc, view.BookingFilter{From: lab.At(g.to), To: lab.At(g.to.AddDate(0, 0, clashesAhead))})
	if err != nil || len(rows) == 0 {
		return err
	}
	rigs, err := g.d.rigNames(ctx, g.sc)
	if err != nil {
		return err
	}
	next := lab.At(g.to.AddDate(0, 0, 1))
	var tomorrow []string
	byRig := map[uuid.UUID][]view.BookingRow{}
	var order []uuid.UUID
	for i := range rows {
		b := &rows[i].Booking
		if b.Within(lab.At(g.to), next) {
			tomorrow = append(tomorrow, rigName(rigs, b.Rig)+": "+b.Times(g.from.Location())+", "+b.By())
		}
		if byRig[b.Rig] == nil {
			order = append(order, b.Rig)
		}
		byRig[b.Rig] = append(byRig[b.Rig], rows[i])
	}
	g.section("Booked for the day after", most(tomorrow, "the calendar"))
	var clashes []string
	k := present.Calendar{Now: g.from}
	for _, rig := range order {
		for _, line := range k.Clashes(byRig[rig]) {
			clashes = append(clashes, rigName(rigs, rig)+": "+line)
		}
	}
	g.section("Bookings that clash", most(clashes, "the calendar"))
	return nil
}

// most bounds the lines of a section, and says where the rest is.
func most(lines []string, where string) []string {
	if n := len(lines); n > mostLines {
		return append(lines[:mostLines:mostLines], fmt.Sprintf("and %s more; %s has them", page.ShowCount(int64(n-mostLines)), where))
	}
	return lines
}

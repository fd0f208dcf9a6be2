package agent_test

import (
	"context"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"thudbook/sync/home"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Next says who has booked the rig now and soon, but not the department whose
// campaign is followed, and fires all the same; the week is there to read.
func TestBookedAtTheRig(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.page("/bookings", "Bookings of this rig", "free", "The rig is booked on the server")
	now := time.Now()
	rig := r.rig()
	booking := func(from, to time.Duration, department string) *lab.Booking {
		return &lab.Booking{Rig: rig, From: lab.At(now.Add(from)), To: lab.At(now.Add(to)), Department: department}
	}
	running, own, soon, gone, later := booking(-time.Hour, time.Hour, "Helmets"), booking(-time.Hour, time.Hour, " guards Group"), booking(2*time.Hour, 3*time.Hour, "Endurance"), booking(time.Hour, 2*time.Hour, "Cancelled"), booking(9*time.Hour, 10*time.Hour, "Later")
	running.Who = "ext. 12"
	elsewhere := booking(0, time.Hour, "Elsewhere")
	elsewhere.Rig = labtest.ID("another rig")
	draft := labtest.Draft(t, labtest.ID("campaign"), &lab.Campaign{Name: "Guards", Owner: "Guards group", Specimens: []string{"FG-01"}, Cells: []lab.Cell{{Location: "front", TargetSpeedMS: 5, Planned: 1}}})
	r.plant(draft, labtest.Draft(t, labtest.ID("a"), running), labtest.Draft(t, labtest.ID("b"), own), labtest.Draft(t, labtest.ID("c"), soon), labtest.Draft(t, labtest.ID("d"), gone),
		labtest.Draft(t, labtest.ID("d"), &lab.BookingCancelled{Booking: labtest.ID("d"), Reason: "late"}), labtest.Draft(t, labtest.ID("e"), later), labtest.Draft(t, labtest.ID("f"), elsewhere))
	next := r.page("/next", "by Helmets (ext. 12). It clashes with the booking of  guards Group.", "by Endurance.", "Bookings of this week", "Confirmed: wait for its file")
	for _, no := range []string{"Cancelled", "Later", "Elsewhere"} {
		if strings.Contains(next, no) {
			t.Errorf("Next tells of %s", no)
		}
	}
	if n := strings.Count(next, "guards Group"); n != 1 {
		t.Errorf("the department of the campaign is told %d times, want once, as a clash", n)
	}
	week := r.page("/bookings", "Helmets", "clash with", "Two bookings want the rig at one time")
	if strings.Contains(week, "Cancelled") || strings.Contains(week, "<b>Elsewhere") || strings.Contains(week, `action="/bookings"`) && strings.Contains(week, "Book the rig") {
		t.Errorf("the week has what it must not have: %.3000s", week)
	}
	if a := r.get("/bookings?day=soon"); a.status != http.StatusUnprocessableEntity {
		t.Errorf("a day that is none = %d", a.status)
	}
	// Nobody is kept from firing.
	v := fields(t, next, "/next/confirm")
	v.Set("pressure", "141")
	r.send("/next/confirm", v, "/result")
}

// rig is the id of the agent's rig, as its store has it.
func (r *running) rig() (id [16]byte) {
	r.t.Helper()
	if err := r.stop(); err != nil {
		r.t.Fatal(err)
	}
	h, err := home.Open(context.Background(), home.Options{Dir: r.opt.Data, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		r.t.Fatal(err)
	}
	rigs, err := h.Reader.Rigs(context.Background(), scope.All(), view.Page{})
	if err != nil || len(rigs.Rows) != 1 {
		r.t.Fatalf("rigs %v %v", rigs, err)
	}
	if err := h.Close(); err != nil {
		r.t.Fatal(err)
	}
	r.run()
	return rigs.Rows[0].ID
}

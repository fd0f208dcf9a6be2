package register_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// A rig that is booked is refused with whose it is and when, and booked anyway
// with a reason; a booking is moved in one step, and cancelled once, by who made
// it or keeps the lab.
func TestBookings(t *testing.T) {
	d := open(t)
	rig := labtest.ID("rig 1")
	role := func(name string, r account.Role) account.Principal {
		return account.Principal{ID: labtest.ID(name), Roles: map[record.LabID]account.Role{d.place.ID: r}}
	}
	operator, colleague, manager := role("o", account.Operator), role("c", account.Operator), role("m", account.Manager)
	at := func(hours int) lab.Time { return day(0).Add(time.Duration(hours) * time.Hour) }
	booking := func(from, to int, department string) *lab.Booking {
		return &lab.Booking{Rig: rig, From: at(from), To: at(to), Department: department, Who: "ext. 12"}
	}
	book := func(p account.Principal, b *lab.Booking) (uuid.UUID, error) {
		return d.r.Book(t.Context(), p, d.place, b)
	}
	must := func(b *lab.Booking) uuid.UUID {
		t.Helper()
		id, err := book(operator, b)
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	refused := func(err error, code problem.Code, words ...string) {
		t.Helper()
		if problem.Of(err) != code {
			t.Errorf("%v, want %s", err, code)
			return
		}
		for _, x := range words {
			if !strings.Contains(err.Error(), x) {
				t.Errorf("%v lacks %q", err, x)
			}
		}
	}
	stand := func(want ...uuid.UUID) {
		t.Helper()
		rows, err := d.Reader.Bookings(t.Context(), d.place.Scope, view.BookingFilter{From: at(-100), To: at(900), Rig: rig})
		if err != nil || len(rows) != len(want) {
			t.Fatalf("%d bookings stand, %v; want %d", len(rows), err, len(want))
		}
		for i := range rows {
			if rows[i].ID != want[i] {
				t.Errorf("booking %d is %s, want %s", i, rows[i].ID, want[i])
			}
		}
	}
	first := must(booking(8, 12, "Helmets"))
	local := at(8).Time().Local()
	_, err := book(operator, booking(11, 14, "Guards"))
	refused(err, problem.Conflict, "Helmets (ext. 12), "+local.Format("2006-01-02 15:04")+" to ", at(12).Time().Local().Format("15:04"), "book it anyway")
	_, err = book(account.Principal{ID: labtest.ID("x")}, booking(20, 21, "Guards"))
	refused(err, problem.Forbidden)
	_, err = book(operator, &lab.Booking{Rig: labtest.ID("no rig"), From: at(1), To: at(2), Department: "D"})
	refused(err, problem.Invalid, "no such rig")
	after := must(booking(12, 14, "Guards"))
	other := booking(8, 12, "Guards")
	other.Rig = labtest.ID("rig 2")
	must(other)
	stand(first, after)
	over := booking(11, 13, "Urgent")
	over.Anyway = "customer is here"
	both := must(over)
	stand(first, both, after)
	row, err := d.Reader.Booking(t.Context(), d.place.Scope, both)
	if err != nil || len(row.Clashes) != 2 || row.Clashes[0].ID != first || row.Clashes[1].ID != after {
		t.Errorf("clashes %+v, %v", row.Clashes, err)
	}

	// Onto itself it may be moved; onto another one not, and then it stays.
	move := func(p account.Principal, id uuid.UUID, from, to int, anyway string) (uuid.UUID, error) {
		return d.r.MoveBooking(t.Context(), p, d.place, id, at(from), at(to), anyway, "moved")
	}
	_, err = move(operator, after, 9, 10, "")
	refused(err, problem.Conflict, "Helmets")
	stand(first, both, after)
	_, err = move(colleague, after, 30, 31, "")
	refused(err, problem.Forbidden)
	moved, err := move(operator, both, 20, 22, "")
	if err != nil {
		t.Fatal(err)
	}
	again, err := move(manager, moved, 21, 23, "")
	if err != nil {
		t.Fatal(err)
	}
	stand(first, after, again)
	_, err = move(operator, moved, 50, 51, "")
	refused(err, problem.Conflict, "cancelled already (moved)")
	if row, err := d.Reader.Booking(t.Context(), d.place.Scope, again); err != nil || row.Booking.Department != "Urgent" || row.Booking.Anyway != "" || *row.Booking.Instead != moved || len(row.Clashes) != 0 {
		t.Errorf("moved to %+v, %v", row, err)
	}
	cancel := func(p account.Principal, id uuid.UUID, reason string) error {
		return d.r.CancelBooking(t.Context(), p, d.place, id, reason)
	}
	refused(cancel(colleague, first, "mine now"), problem.Forbidden)
	refused(cancel(operator, first, ""), problem.Invalid)
	refused(cancel(operator, labtest.ID("none"), "gone"), problem.NotFound)
	if err := cancel(operator, first, "helmets are late"); err != nil {
		t.Fatal(err)
	}
	refused(cancel(manager, first, "twice"), problem.Conflict, "helmets are late")
	stand(after, again)
}

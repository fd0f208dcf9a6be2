package lab_test

import (
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// A month over the end of summer time has 31 days and an hour, and is one
// booking; what ends before it begins, or is longer, is not.
func TestBookingBounds(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	// tzdata: summer time ends there on 2026-10-25.
	october, november := time.Date(2026, 10, 1, 0, 0, 0, 0, berlin), time.Date(2026, 11, 1, 0, 0, 0, 0, berlin)
	if november.Sub(october) != lab.MaxBooking {
		t.Errorf("October has %s, the longest booking is %s", november.Sub(october), lab.MaxBooking)
	}
	for _, x := range []struct {
		name, want string
		from, to   time.Time
		edit       func(*lab.Booking)
	}{
		{"a month", "", october, november, nil},
		{"a month and a millisecond", "the most is 31", october, november.Add(time.Millisecond), nil},
		{"backwards", "ends before it has begun", november, october, nil},
		{"nothing", "ends before it has begun", october, october, nil},
		{"no end", "the time is missing (rig.booked, to)", october, time.Time{}, nil},
		{"no department", "the text is missing (rig.booked, department)", october, november, func(b *lab.Booking) { b.Department = "" }},
		{"no rig", "the id is missing (rig.booked, rig)", october, november, func(b *lab.Booking) { b.Rig = [16]byte{} }},
		{"a long reason", "the most is", october, november, func(b *lab.Booking) { b.Anyway = strings.Repeat("x", lab.MaxNote+1) }},
	} {
		b := &lab.Booking{Rig: labtest.ID("rig"), From: lab.At(x.from), To: lab.At(x.to), Department: "D"}
		if x.edit != nil {
			x.edit(b)
		}
		err := b.Validate()
		if x.want == "" && err != nil || x.want != "" && (err == nil || !strings.Contains(err.Error(), x.want)) {
			t.Errorf("%s: %v, want %q", x.name, err, x.want)
		}
	}
	a := &lab.Booking{Rig: labtest.ID("rig"), From: lab.At(october), To: lab.At(november)}
	b := &lab.Booking{Rig: labtest.ID("rig"), From: lab.At(november), To: lab.At(november.Add(time.Hour))}
	if a.Overlaps(b) || b.Overlaps(a) {
		t.Error("one that begins when the other ends clashes with it")
	}
	if b.From--; !a.Overlaps(b) || !b.Overlaps(a) {
		t.Error("one that begins a moment before the other ends does not clash with it")
	}
}

package lab

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// Time on a rig that a department asks for, and that it does not need it after all.
const (
	KindBooking            record.Kind = "rig.booked"
	KindBookingCancelled   record.Kind = "rig.booking.cancelled"
	BookingSchema          uint        = 1
	BookingCancelledSchema uint        = 1
)

// MaxBooking is the longest booking: 31 days, one of which may have 25 hours.
const MaxBooking = 31*24*time.Hour + time.Hour

// Booking keeps a rig for a department in From <= t < To. Two that were made
// without sight of each other both stand, and clash until one is cancelled.
// A booking is never changed: moving it is cancelling it and making another,
// which names it in Instead.
type Booking struct {
	Rig        uuid.UUID  `json:"rig"`
	From       Time       `json:"from"`
	To         Time       `json:"to"` // the first instant that is free again
	Department string     `json:"department"`
	Project    string     `json:"project,omitempty"`
	Who        string     `json:"who,omitempty"` // to ask about it: a name, initials or a telephone number
	Note       string     `json:"note,omitempty"`
	Anyway     string     `json:"anyway,omitempty"`  // why it was made although another stood then
	Instead    *uuid.UUID `json:"instead,omitempty"` // the booking that was moved to here
}

// RecordKind is KindBooking.
func (*Booking) RecordKind() record.Kind { return KindBooking }

// SchemaVersion is BookingSchema.
func (*Booking) SchemaVersion() uint { return BookingSchema }

// Overlaps says that two bookings want one rig at one time. One that begins
// when the other ends does not.
func (b *Booking) Overlaps(o *Booking) bool {
	return b.Rig == o.Rig && b.From < o.To && o.From < b.To
}

// Within says that some of a booking lies in from <= t < to.
func (b *Booking) Within(from, to Time) bool { return b.From < to && from < b.To }

// Hours gives how long it is, in hours.
func (b *Booking) Hours() float64 { return float64(b.To-b.From) / 3_600_000 }

// By words whose it is.
func (b *Booking) By() string {
	if b.Who == "" {
		return b.Department
	}
	return b.Department + " (" + b.Who + ")"
}

// Times words when it is; an end on the same day without its date.
func (b *Booking) Times(zone *time.Location) string {
	const minute = time.DateOnly + " 15:04"
	from, to := b.From.Time().In(zone), b.To.Time().In(zone)
	layout := minute
	if from.Format(time.DateOnly) == to.Format(time.DateOnly) {
		layout = "15:04"
	}
	return from.Format(minute) + " to " + to.Format(layout)
}

// Validate gives all faults at once.
func (b *Booking) Validate() error {
	c := &checks{what: KindBooking}
	c.id("rig", b.Rig)
	c.when("from", b.From)
	c.when("to", b.To)
	if b.From != 0 && b.To != 0 {
		switch {
		case b.To <= b.From:
			c.add("to", "the booking ends before it has begun", "give an end after the beginning")
		case b.To > b.From.Add(MaxBooking):
			c.add("to", fmt.Sprintf("the booking takes %.1f days, the most is 31", b.Hours()/24), "divide it")
		}
	}
	c.needText("department", b.Department, MaxText)
	c.text("project", b.Project, MaxText)
	c.text("who", b.Who, MaxText)
	c.text("note", b.Note, MaxNote)
	c.text("anyway", b.Anyway, MaxNote)
	if b.Instead != nil {
		c.id("instead", *b.Instead)
	}
	return c.err()
}

// BookingCancelled frees the time of a booking, for good: who wants it again
// books again.
type BookingCancelled struct {
	Booking uuid.UUID `json:"booking"`
	Reason  string    `json:"reason"`
}

// RecordKind is KindBookingCancelled.
func (*BookingCancelled) RecordKind() record.Kind { return KindBookingCancelled }

// SchemaVersion is BookingCancelledSchema.
func (*BookingCancelled) SchemaVersion() uint { return BookingCancelledSchema }

// Validate gives all faults at once.
func (b *BookingCancelled) Validate() error {
	c := &checks{what: KindBookingCancelled}
	c.id("booking", b.Booking)
	c.needText("reason", b.Reason, MaxNote)
	return c.err()
}

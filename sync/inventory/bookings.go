package inventory

import (
	"context"
	"fmt"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// books refuses a booking while others stand for the rig at a time of it, unless
// it says why it is made anyway. One that it moves here is no hindrance.
func (k *checker) books(ctx context.Context, b *lab.Booking) error {
	if b.Anyway != "" {
		return nil
	}
	taken, err := k.v.Booked(ctx, k.only, b.Rig, b.From, b.To)
	if err != nil {
		return err
	}
	var others []string
	for i := range taken {
		if o := &taken[i]; b.Instead == nil || o.ID != *b.Instead {
			others = append(others, o.Booking.By()+", "+o.Booking.Times(time.Local)) // as the screens of this computer say them
		}
	}
	if len(others) == 0 {
		return nil
	}
	const most = 3
	if more := len(others) - most; more > 0 {
		others = append(others[:most], fmt.Sprintf("%d more", more))
	}
	return clash("from", "The rig is booked then: "+strings.Join(others, "; ")+".", "Choose another time, or say why you book it anyway; both are then shown as a clash.")
}

// frees refuses to cancel a booking that was cancelled.
func (k *checker) frees(ctx context.Context, b *lab.BookingCancelled) error {
	o, err := k.v.Booking(ctx, k.only, b.Booking)
	if err != nil {
		return unknown(err, "booking", "The lab has no such booking.", "Look it up in the calendar.")
	}
	if !o.Stands() {
		return freed(&o)
	}
	return nil
}

// freed words that a booking was cancelled already.
func freed(o *view.BookingRow) error {
	return &problem.Error{Code: problem.Conflict, Where: "booking", What: "The booking was cancelled already (" + o.Withdrawn.Reason + ").", Fix: "Nothing needs to be done; book again if the rig is wanted after all."}
}

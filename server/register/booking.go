package register

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/inventory"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// MayBook refuses a person who has no role in a lab. Everybody who has one may
// book its rigs.
func MayBook(p account.Principal, in record.LabID) error {
	if p.MayBook(in) {
		return nil
	}
	return problem.New(problem.Forbidden, "Without a role in this lab its rigs cannot be booked.", "Ask the lab's manager.")
}

// MayFree reports whether a person may cancel or move a booking: who made it,
// and who may change the lab.
func MayFree(p account.Principal, in record.LabID, row *view.BookingRow) bool {
	return p.MayKeep(in) || p.MayBook(in) && row.Author == p.Author()
}

// Book keeps a rig for a department. While another booking stands then, it is
// refused unless it says why it is made anyway.
func (r *Register) Book(ctx context.Context, p account.Principal, in roster.Place, b *lab.Booking) (uuid.UUID, error) {
	if err := MayBook(p, in.ID); err != nil {
		return uuid.Nil, err
	}
	return inventory.Record(ctx, r.Ledger, r.Views, in.Scope, inventory.Fact{Lab: in.ID, Author: p.Author(), Body: b})
}

// CancelBooking frees the time of a booking.
func (r *Register) CancelBooking(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, reason string) error {
	return r.aboutBooking(ctx, p, in, id, func(v *view.Reader, _ *view.BookingRow) ([]ledger.Draft, error) {
		d, err := inventory.Draft(ctx, v, in.Scope, inventory.Fact{Lab: in.ID, Author: p.Author(), About: id, Body: &lab.BookingCancelled{Booking: id, Reason: reason}})
		return []ledger.Draft{d}, err
	})
}

// MoveBooking cancels a booking for a reason and makes another in its place, in
// one step: while that is refused, the first one stands. It gives the new one's id.
func (r *Register) MoveBooking(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, from, to lab.Time, anyway, reason string) (next uuid.UUID, err error) {
	err = r.aboutBooking(ctx, p, in, id, func(v *view.Reader, row *view.BookingRow) ([]ledger.Draft, error) {
		b := row.Booking
		b.From, b.To, b.Anyway, b.Instead = from, to, anyway, &id
		gone, err := inventory.Draft(ctx, v, in.Scope, inventory.Fact{Lab: in.ID, Author: p.Author(), About: id, Body: &lab.BookingCancelled{Booking: id, Reason: reason}})
		if err != nil {
			return nil, err
		}
		made, err := inventory.Draft(ctx, v, in.Scope, inventory.Fact{Lab: in.ID, Author: p.Author(), Body: &b})
		next = made.UID
		return []ledger.Draft{gone, made}, err
	})
	return next, err
}

// aboutBooking writes about a booking, in the lab that it was written for, in
// one step with looking at it.
func (r *Register) aboutBooking(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, do func(*view.Reader, *view.BookingRow) ([]ledger.Draft, error)) error {
	row, err := r.Views.Booking(ctx, in.Scope, id)
	if err != nil {
		return err
	}
	if !MayFree(p, in.ID, &row) {
		return problem.New(problem.Forbidden, "Somebody else made this booking.", "Ask who made it, or the lab's manager, to cancel or move it.")
	}
	_, err = r.Ledger.AppendWith(ctx, row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		v := view.Within(r.Views, tx)
		row, err := v.Booking(ctx, in.Scope, id)
		if err != nil {
			return nil, err
		}
		return do(v, &row)
	})
	return err
}

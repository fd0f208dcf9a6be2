package view

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// BookingRow is one booking. Withdrawn, of its head, is its cancelling.
type BookingRow struct {
	Head
	Booking lab.Booking
	Clashes []BookingRow // that stand for the same rig at a time of this one, without their own clashes; by time
}

// Stands says that it was not cancelled.
func (r *BookingRow) Stands() bool { return r.Withdrawn == nil }

const byBooked = "booked" // rig, from, stamp; of bookings that stand

func bookingTable() *index.Table[doc[lab.Booking]] {
	type row = doc[lab.Booking]
	return &index.Table[row]{Name: "view.booking", Key: keyOf[lab.Booking], Indexes: []index.Index[row]{
		inTime(func(b *lab.Booking) lab.Time { return b.From }),
		{Name: byBooked, Keys: func(d *row) [][]byte {
			if !d.stands() {
				return nil
			}
			b := d.body()
			return one(b.Rig[:], when(b.From), d.Made.Stamp.key())
		}},
	}}
}

// reduceBooking takes in what is said about bookings.
func (s *Set) reduceBooking(tx kv.Tx, r *record.Record) (known bool, err error) {
	switch r.Kind {
	case lab.KindBooking:
		return true, stating(tx, s.bookings, r)
	case lab.KindBookingCancelled:
		return true, reading(r, func(b *lab.BookingCancelled) error {
			return mark(tx, s.bookings, r, b.Booking, Mark{Reason: b.Reason})
		})
	}
	return false, nil
}

func bookingRow(d *doc[lab.Booking]) BookingRow {
	return BookingRow{Head: d.head(), Booking: *d.body()}
}

// BookingFilter narrows bookings.
type BookingFilter struct {
	From, To  lab.Time  // those that take some of From <= t < To; both are needed
	Rig       uuid.UUID // zero: all
	Cancelled bool      // cancelled ones too
}

// reach is how far before a time a booking that takes it may begin, which
// follows from the longest one.
const reach = lab.Time(lab.MaxBooking / 1_000_000)

// Bookings lists the bookings of a span by their beginning, with their clashes.
func (v *Reader) Bookings(ctx context.Context, sc scope.Scope, f BookingFilter) (out []BookingRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		for _, of := range labs {
			for d, err := range v.set.bookings.ScanIndex(r, byTime, kv.Join(of[:], when(f.From-reach)), kv.Join(of[:], when(f.To)), false) {
				if err != nil {
					return err
				}
				if b := d.body(); !b.Within(f.From, f.To) || f.Rig != uuid.Nil && b.Rig != f.Rig || !f.Cancelled && !d.stands() {
					continue
				}
				out = append(out, bookingRow(d))
			}
		}
		slices.SortFunc(out, compareBookings)
		return v.set.clashes(r, sc, out)
	})
	return out, err
}

func compareBookings(a, b BookingRow) int {
	return cmp.Or(cmp.Compare(a.Booking.From, b.Booking.From), cmp.Compare(a.Booking.To, b.Booking.To), slices.Compare(a.ID[:], b.ID[:]), slices.Compare(a.Lab[:], b.Lab[:]))
}

// clashes fills in the clashes of rows. Each rig is read once, over the time of
// all of its rows.
func (s *Set) clashes(r kv.Reader, sc scope.Scope, rows []BookingRow) error {
	type span struct{ from, to lab.Time }
	spans := map[uuid.UUID]span{}
	for i := range rows {
		b := &rows[i].Booking
		p, ok := spans[b.Rig]
		if !ok {
			p = span{b.From, b.To}
		}
		spans[b.Rig] = span{min(p.from, b.From), max(p.to, b.To)}
	}
	taken := map[uuid.UUID][]BookingRow{}
	for rig, p := range spans {
		var err error
		if taken[rig], err = s.booked(r, sc, rig, p.from, p.to); err != nil {
			return err
		}
	}
	for i := range rows {
		x := &rows[i]
		if !x.Stands() {
			continue
		}
		all := taken[x.Booking.Rig]
		first, _ := slices.BinarySearchFunc(all, x.Booking.From-reach, func(o BookingRow, t lab.Time) int { return cmp.Compare(o.Booking.From, t) })
		for j := first; j < len(all) && all[j].Booking.From < x.Booking.To; j++ {
			if o := &all[j]; (o.ID != x.ID || o.Lab != x.Lab) && o.Booking.Overlaps(&x.Booking) {
				x.Clashes = append(x.Clashes, *o)
			}
		}
	}
	return nil
}

// booked lists what stands for a rig at some time of from <= t < to, by time,
// without clashes.
func (s *Set) booked(r kv.Reader, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (out []BookingRow, err error) {
	for d, err := range s.bookings.ScanIndex(r, byBooked, kv.Join(rig[:], when(from-reach)), kv.Join(rig[:], when(to)), false) {
		if err != nil {
			return nil, err
		}
		if sc.Allows(d.Lab) && d.body().Within(from, to) {
			out = append(out, bookingRow(d))
		}
	}
	slices.SortFunc(out, compareBookings)
	return out, nil
}

// Booked lists what stands for a rig at some time of from <= t < to, by time,
// without clashes.
func (v *Reader) Booked(ctx context.Context, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (out []BookingRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out, err = v.set.booked(r, sc, rig, from, to)
		return err
	})
	return out, err
}

// Booking gives one, with its clashes.
func (v *Reader) Booking(ctx context.Context, sc scope.Scope, id uuid.UUID) (BookingRow, error) {
	var rows [1]BookingRow
	err := v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.bookings, sc, id)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindBooking, id)
		}
		rows[0] = bookingRow(d)
		return v.set.clashes(r, sc, rows[:])
	})
	return rows[0], err
}

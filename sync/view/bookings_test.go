package view_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/hlc"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// slip is one booking on a paper calendar.
type slip struct {
	body   lab.Booking
	struck bool
}

// drawCalendar makes bookings of two rigs by two nodes without sight of each
// other, some cancelled, and the paper calendar that has the same.
func drawCalendar(rt *rapid.T, w *world) (map[uuid.UUID]*slip, []record.Record) {
	paper, recs := map[uuid.UUID]*slip{}, []record.Record(nil)
	for i := range rapid.IntRange(1, 14).Draw(rt, "bookings") {
		node := rapid.SampledFrom([]uuid.UUID{node1, node2}).Draw(rt, "writer")
		from := lab.At(labtest.Start().Add(time.Duration(rapid.IntRange(0, 24*40).Draw(rt, "from")) * time.Hour))
		b := &lab.Booking{Rig: rapid.SampledFrom([]uuid.UUID{rig1, rig2}).Draw(rt, "rig"), From: from, Department: "D"}
		hours := rapid.OneOf(rapid.IntRange(1, 12), rapid.Just(31*24+1), rapid.IntRange(13, 31*24)).Draw(rt, "hours")
		b.To = from.Add(time.Duration(hours) * time.Hour)
		if err := b.Validate(); err != nil {
			rt.Fatalf("a valid booking is refused: %v", err)
		}
		id := labtest.ID("calendar", i)
		paper[id] = &slip{body: *b, struck: rapid.IntRange(0, 3).Draw(rt, "struck") == 0}
		recs = append(recs, w.stated(node, labA, hlc.Time(100+i), id, b))
		if paper[id].struck {
			by := rapid.SampledFrom([]uuid.UUID{node1, node2}).Draw(rt, "struck by")
			recs = append(recs, w.stated(by, labA, hlc.Time(200+i), id, &lab.BookingCancelled{Booking: id, Reason: "R"}))
		}
	}
	return paper, recs
}

// Whatever the order of arrival, record by record or all at once, the calendar
// is that of the papers: what stands in a span of a rig, and what clashes with
// it, hour by hour.
func TestBookingsEqualPapers(t *testing.T) {
	w, again := openWorld(t), openWorld(t)
	clashing, struck, free := 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		w.empty(rt)
		again.empty(rt)
		paper, recs := drawCalendar(rt, w)
		again.together(recs)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order of arrival"), 0)).Shuffle(len(recs), func(i, j int) { recs[i], recs[j] = recs[j], recs[i] })
		w.apply(recs...)
		same(rt, w, again)
		from := lab.At(labtest.Start().Add(time.Duration(rapid.IntRange(-24, 24*70).Draw(rt, "asked from")) * time.Hour))
		to := from.Add(time.Duration(rapid.IntRange(1, 24*20).Draw(rt, "asked for")) * time.Hour)
		all := rapid.Bool().Draw(rt, "cancelled too")
		rows, err := w.Bookings(w.ctx(), onlyA, view.BookingFilter{From: from, To: to, Rig: rig1, Cancelled: all})
		if err != nil {
			rt.Fatal(err)
		}
		got := map[uuid.UUID]*view.BookingRow{}
		for i := range rows {
			got[rows[i].ID] = &rows[i]
		}
		if !slices.IsSortedFunc(rows, func(a, b view.BookingRow) int { return int(a.Booking.From - b.Booking.From) }) {
			rt.Fatal("not in the order of their beginning")
		}
		for id, x := range paper {
			want := x.body.Rig == rig1 && (all || !x.struck) && hourly(x.body.From, x.body.To, from, to)
			row := got[id]
			if (row != nil) != want {
				rt.Fatalf("%s listed %v, want %v", id, row != nil, want)
			}
			if row == nil {
				continue
			}
			if row.Stands() == x.struck {
				rt.Fatalf("%s stands %v, struck on paper %v", id, row.Stands(), x.struck)
			}
			var ids, others []uuid.UUID
			for o, y := range paper {
				if o != id && !x.struck && !y.struck && y.body.Rig == x.body.Rig && hourly(x.body.From, x.body.To, y.body.From, y.body.To) {
					others = append(others, o)
				}
			}
			for i := range row.Clashes {
				ids = append(ids, row.Clashes[i].ID)
			}
			byID := func(a, b uuid.UUID) int { return slices.Compare(a[:], b[:]) }
			slices.SortFunc(ids, byID)
			slices.SortFunc(others, byID)
			if !slices.Equal(ids, others) {
				rt.Fatalf("%s clashes with %v, on paper with %v", id, ids, others)
			}
			one, err := w.Booking(w.ctx(), onlyA, id)
			if err != nil || len(one.Clashes) != len(others) {
				rt.Fatalf("alone it clashes with %d, %v; want %d", len(one.Clashes), err, len(others))
			}
			switch {
			case x.struck:
				struck++
			case len(others) > 0:
				clashing++
			default:
				free++
			}
		}
	})
	if clashing == 0 || struck == 0 || free == 0 {
		t.Errorf("%d clashing, %d cancelled, %d free; all must occur", clashing, struck, free)
	}
}

// hourly looks at each hour of one span for the other; all begin and end with an hour.
func hourly(from, to, other, end lab.Time) bool {
	for t := from; t < to; t += 3_600_000 {
		if t >= other && t < end {
			return true
		}
	}
	return false
}

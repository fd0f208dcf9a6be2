package view_test

import (
	"math/rand/v2"
	"reflect"
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

// workHistory is orders of two rams, with what a person with the papers in hand
// would say of each.
type workHistory struct {
	item      map[uuid.UUID]uuid.UUID
	services  map[uuid.UUID]*lab.Service // by their own id
	withdrawn map[uuid.UUID]bool
	cancelled map[uuid.UUID]bool // as said last
}

// closings counts the services that carry an order out.
func (h *workHistory) closings(order uuid.UUID) (n int) {
	for id, s := range h.services {
		if s.WorkOrder != nil && *s.WorkOrder == order && s.Item == h.item[order] && !h.withdrawn[id] {
			n++
		}
	}
	return n
}

// state walks through the papers.
func (h *workHistory) state(order uuid.UUID) view.OrderState {
	if h.closings(order) > 0 {
		return view.OrderDone
	}
	if h.cancelled[order] {
		return view.OrderCancelled
	}
	return view.OrderOpen
}

// drawWork adds orders, services that carry them out, cancellings, withdrawals
// and plans to a history of shots, moves and services.
func drawWork(rt *rapid.T, w *world, h *history) (*workHistory, []record.Record) {
	k := &workHistory{item: map[uuid.UUID]uuid.UUID{}, services: map[uuid.UUID]*lab.Service{}, withdrawn: map[uuid.UUID]bool{}, cancelled: map[uuid.UUID]bool{}}
	var recs []record.Record
	say := func(clock int, id uuid.UUID, b lab.Body) {
		if err := b.Validate(); err != nil {
			rt.Fatalf("the test says something invalid: %v", err)
		}
		node := rapid.SampledFrom([]uuid.UUID{node1, node2}).Draw(rt, "writer")
		recs = append(recs, w.stated(node, labA, hlc.Time(clock), id, b))
	}
	rams := []uuid.UUID{ram1, ram2}
	say(100, lab.ServicePlanOf(labA, lab.ClassRam), &lab.ServicePlan{Class: lab.ClassRam, EveryStrokes: int64(rapid.IntRange(0, 20).Draw(rt, "strokes")), EveryDays: int64(rapid.IntRange(1, 9).Draw(rt, "days"))})
	var orders []uuid.UUID
	for i := range rapid.IntRange(1, 3).Draw(rt, "orders") {
		id := labtest.ID("work", i)
		orders, k.item[id] = append(orders, id), rapid.SampledFrom(rams).Draw(rt, "of")
		say(110+i, id, &lab.WorkOrder{Item: k.item[id], EffectiveAt: drawStep(rt), Cause: lab.OrderByHand, What: "seals"})
	}
	for i := range rapid.IntRange(0, 8).Draw(rt, "said of orders") {
		order := rapid.SampledFrom(orders).Draw(rt, "order")
		clock, id := 200+i, labtest.ID("work service", i)
		switch rapid.IntRange(0, 4).Draw(rt, "said") {
		case 0, 1:
			// Of the right item, and by mistake at times of the other one.
			item := k.item[order]
			if rapid.IntRange(0, 4).Draw(rt, "mistaken") == 0 {
				item = rapid.SampledFrom(rams).Draw(rt, "item")
			}
			s := &lab.Service{Item: item, EffectiveAt: drawStep(rt), WorkOrder: &order, Used: []lab.Part{{Name: "seal", Quantity: 2}}}
			k.services[id] = s
			say(clock, id, s)
			if k.withdrawn[id] = rapid.IntRange(0, 2).Draw(rt, "withdrawn") == 0; k.withdrawn[id] {
				say(clock+100, id, &lab.Withdrawn{Doc: id, DocKind: lab.KindService, Reason: "another ram"})
			} else {
				h.facts = append(h.facts, fact{at: s.EffectiveAt, clock: hlc.Time(clock), body: s})
			}
		case 2, 3:
			lifted := rapid.Bool().Draw(rt, "lifted")
			k.cancelled[order] = !lifted
			say(clock, order, &lab.OrderCancelled{Order: order, Reason: "no time", Lifted: lifted})
		default:
			e, err := lab.NewEdit(order, lab.KindWorkOrder, "assigned_to", rapid.SampledFrom([]string{"A", "B"}).Draw(rt, "to"))
			if err != nil {
				rt.Fatal(err)
			}
			say(clock, order, e)
		}
	}
	return k, recs
}

// Whatever the order in which late shots, moves, services, plans and work orders
// arrive, counters, due dates and orders are those of a rebuild; the counters
// are also those of a tally sheet, and the states of the orders those of the papers.
func TestWorkOrdersEqualPapers(t *testing.T) {
	w, again := openWorld(t), openWorld(t)
	seen, due, twice := map[view.OrderState]int{}, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		w.empty(rt)
		again.empty(rt)
		h, recs := drawHistory(rt, w, 5)
		k, more := drawWork(rt, w, h)
		recs = append(recs, more...)
		again.together(recs)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order of arrival"), 0)).Shuffle(len(recs), func(i, j int) { recs[i], recs[j] = recs[j], recs[i] })
		w.together(recs)
		same(rt, w, again)
		now := drawStep(rt)
		for _, id := range []uuid.UUID{ram1, ram2} {
			a, errA := w.ServiceDue(w.ctx(), onlyA, id, now.Time())
			b, errB := again.ServiceDue(w.ctx(), onlyA, id, now.Time())
			if errA != nil || errB != nil || !reflect.DeepEqual(a, b) {
				rt.Fatalf("due %+v, %v\nafter a rebuild %+v, %v", a, errA, b, errB)
			}
			if want := h.replay(id, 5, now); a.StrokesSinceService != want.since || a.TotalStrokes != want.total {
				rt.Fatalf("%d of %d strokes, a tally sheet has %d of %d", a.StrokesSinceService, a.TotalStrokes, want.since, want.total)
			}
			if a.IsDue() {
				due++
			}
			if a.DueAt != a.From+lab.Time(a.Plan.EveryDays*lab.DayMS) {
				rt.Fatalf("due at %s, from %s every %d days", a.DueAt, a.From, a.Plan.EveryDays)
			}
		}
		for id := range k.item {
			o, err := w.WorkOrder(w.ctx(), onlyA, id)
			if err != nil || o.State != k.state(id) {
				rt.Fatalf("order is %s, %v; the papers say %s", o.State, err, k.state(id))
			}
			if o.State == view.OrderDone && o.Service.Service.Item != o.Order.Item {
				rt.Fatalf("a service of another item carries it out")
			}
			b, err := again.WorkOrder(w.ctx(), onlyA, id)
			if err != nil || !reflect.DeepEqual(o, b) {
				rt.Fatalf("order %+v\nafter a rebuild %+v, %v", o, b, err)
			}
			if all := k.closings(id); o.ClosedTwice() != (all > 1) || o.State == view.OrderDone && len(o.Further)+1 != all {
				rt.Fatalf("closed by %d services more, the papers have %d", len(o.Further), all)
			}
			if seen[o.State]++; o.ClosedTwice() {
				twice++
				for _, f := range o.Further {
					if f.RecordedAt.Before(o.Service.RecordedAt) {
						rt.Fatalf("closed by the service of %s, though one of %s is earlier", o.Service.RecordedAt, f.RecordedAt)
					}
				}
			}
		}
	})
	if len(seen) != 3 || due == 0 || twice == 0 {
		t.Errorf("the histories made %v, %d due and %d closed twice; all must occur", seen, due, twice)
	}
}

// A filter finds what is in that state, the newest first, and an open order
// tells of a service that does not name it.
func TestWorkOrderLists(t *testing.T) {
	w := openWorld(t)
	at := func(h int) lab.Time { return lab.At(labtest.Start().Add(time.Duration(h) * time.Hour)) }
	for i, item := range []uuid.UUID{ram1, ram1, ram2} {
		w.say(item, &lab.Item{Class: lab.ClassRam, Serial: "R"})
		w.say(labtest.ID("o", i), &lab.WorkOrder{Item: item, EffectiveAt: at(i), Cause: lab.OrderByHand, What: "W"})
	}
	list := func(f view.WorkOrderFilter) (out []uuid.UUID) {
		t.Helper()
		for p := (view.Page{Limit: 1}); ; {
			l, err := w.WorkOrders(w.ctx(), onlyA, f, p)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range l.Rows {
				out = append(out, r.ID)
			}
			if p.After = l.Next; l.Next == "" {
				return out
			}
		}
	}
	want := func(got []uuid.UUID, orders ...int) {
		t.Helper()
		var ids []uuid.UUID
		for _, n := range orders {
			ids = append(ids, labtest.ID("o", n))
		}
		if !reflect.DeepEqual(got, ids) {
			t.Errorf("%v, want orders %v", got, orders)
		}
	}
	w.say(labtest.ID("s"), &lab.Service{Item: ram1, EffectiveAt: at(5)})
	w.say(labtest.ID("s2"), &lab.Service{Item: ram2, EffectiveAt: at(6), WorkOrder: new(labtest.ID("o", 2))})
	w.say(labtest.ID("o", 1), &lab.OrderCancelled{Order: labtest.ID("o", 1), Reason: "R"})
	want(list(view.WorkOrderFilter{}), 2, 1, 0)
	want(list(view.WorkOrderFilter{State: view.OrderOpen}), 0)
	want(list(view.WorkOrderFilter{State: view.OrderDone}), 2)
	want(list(view.WorkOrderFilter{State: view.OrderCancelled}), 1)
	want(list(view.WorkOrderFilter{Item: ram1}), 1, 0)
	o, err := w.WorkOrder(w.ctx(), onlyA, labtest.ID("o", 0))
	if err != nil || o.Since == nil || o.Since.ID != labtest.ID("s") {
		t.Errorf("the service that names no order: %+v, %v", o.Since, err)
	}
}

package server_test

import (
	"net/url"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
)

type bookingRow struct {
	ID uuid.UUID `json:"id"`
	lab.Booking
	State           string      `json:"state"`
	Clashes         []uuid.UUID `json:"clashes_with"`
	CancelledReason string      `json:"cancelled_reason"`
}

// Programs book, are refused what is taken, book anyway, move, cancel and list;
// times may come in any zone.
func TestBookingAPI(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Elder", 1)
	base := "/api/v1/labs/" + s.id.String() + "/bookings"
	away := time.FixedZone("", -5*3600)
	b := func(from, to int, department string) map[string]any {
		return map[string]any{"rig": s.Rig, "from": s.tomorrow(from).In(away), "to": s.tomorrow(to), "department": department}
	}
	but := func(v map[string]any, key string, value any) map[string]any { v[key] = value; return v }
	o, m := s.operator, s.manager
	o.post(base, but(b(8, 12, "D"), "department", "")).says(t, 422, "department", "missing")
	o.post(base, b(12, 8, "D")).says(t, 422, "to", "ends before")
	o.post(base, but(b(8, 12, "D"), "to", s.tomorrow(8+31*24+2))).says(t, 422, "to", "the most is 31")
	o.post(base, but(b(8, 12, "D"), "to", "2020-01-01T00:00:00Z")).says(t, 422, "to", "over")
	o.post(base, but(b(8, 12, "D"), "from", "tomorrow")).want(t, 422, "no time")
	o.post(base, but(b(8, 12, "D"), "rig", uuid.New())).says(t, 422, "rig", "no such rig")
	o.post(base, but(b(8, 12, "D"), "instead", uuid.New())).says(t, 422, "instead", "in the place of another")
	first := o.make(base, b(8, 12, "Helmets"))
	m.post(base, b(11, 14, "Guards")).says(t, 409, "from", "The rig is booked then: Helmets, ")
	second := m.make(base, but(b(11, 14, "Guards"), "anyway", "customer"))
	one := func(id uuid.UUID) bookingRow {
		return into[bookingRow](t, o.get(base+"/"+id.String()).want(t, 200, "a booking"))
	}
	if r := one(second); r.State != "booked" || len(r.Clashes) != 1 || r.Clashes[0] != first || r.Anyway != "customer" || r.From != lab.At(s.tomorrow(11)) {
		t.Errorf("the second: %+v", r)
	}
	o.post(base+"/"+second.String()+"/cancel", map[string]any{"reason": "x"}).want(t, 403, "another's booking")
	m.post(base+"/"+second.String()+"/move", map[string]any{"from": s.tomorrow(9), "to": s.tomorrow(10)}).want(t, 409, "onto the first")
	m.post(base+"/"+second.String()+"/move", map[string]any{"from": s.tomorrow(9), "to": "2020-01-01T00:00:00Z"}).says(t, 422, "to", "over")
	moved := m.make(base+"/"+second.String()+"/move", map[string]any{"from": s.tomorrow(12), "to": s.tomorrow(14)})
	if r := one(moved); len(r.Clashes) != 0 || r.Instead == nil || *r.Instead != second || r.Department != "Guards" {
		t.Errorf("moved: %+v", r)
	}
	if r := one(second); r.State != "cancelled" || r.CancelledReason != "moved to another time" {
		t.Errorf("before it was moved: %+v", r)
	}
	o.post(base+"/"+first.String()+"/cancel", map[string]any{"reason": ""}).says(t, 422, "reason", "missing")
	o.post(base+"/"+first.String()+"/cancel", map[string]any{"reason": "late"}).want(t, 204, "cancelled")
	o.post(base+"/"+first.String()+"/cancel", map[string]any{"reason": "late"}).want(t, 409, "cancelled twice")
	list := func(query string) []bookingRow { return into[[]bookingRow](t, o.get(base+query).want(t, 200, query)) }
	span := func(from, to time.Time, more string) string {
		return "?" + url.Values{"from": {from.Format(time.RFC3339)}, "to": {to.Format(time.RFC3339)}}.Encode() + more
	}
	if l := list(""); len(l) != 1 || l[0].ID != moved {
		t.Errorf("the next days: %+v", l)
	}
	if l := list(span(s.tomorrow(0), s.tomorrow(24), "&cancelled=yes")); len(l) != 3 || l[0].ID != first || l[1].ID != second || l[2].ID != moved {
		t.Errorf("with cancelled ones: %+v", l)
	}
	if l := list(span(s.tomorrow(13), s.tomorrow(14), "&rig="+s.Rig.String())); len(l) != 1 {
		t.Errorf("within it: %+v", l)
	}
	if l := list(span(s.tomorrow(14), s.tomorrow(24), "")); len(l) != 0 {
		t.Errorf("from its end on: %+v", l)
	}
	for field, query := range map[string]string{"from": "?from=soon", "to": "?to=2020-01-01T00:00:00Z", "rig": "?rig=x"} {
		o.get(base+query).says(t, 422, field, "")
	}
}

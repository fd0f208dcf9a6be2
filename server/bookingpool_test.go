package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/google/uuid"
)

// Two servers with one lab, apart from each other: each takes a booking of the
// same time, since neither knows of the other's. After they have exchanged both
// are kept and both servers tell the clash; cancelled at one, it is gone at both.
func TestClashOfTwoServers(t *testing.T) {
	home, pool := start(t), pooling(t)
	s := home.open("Clashpool", 1)
	pool.fetch(s, s.code("coordinator")).want(t, http.StatusSeeOther, "fetch")
	rig := "/bookings?rig=" + s.Rig.String()
	eventually(t, "the rig is known to both", func() bool { return pool.admin.get(rig).status == http.StatusOK })
	rows := pool.servers()
	pool.admin.form("/servers/stop", url.Values{"key": {uuid.NewString()}, "id": {rows[0].ID.String()}}).want(t, http.StatusSeeOther, "apart")

	s.manager.form("/bookings", s.booking(8, 12, "Home")).want(t, 303, "booked at home")
	pool.admin.form("/bookings", s.booking(11, 14, "Away")).want(t, 303, "booked at the other server")
	for _, p := range []*person{s.manager, pool.admin} {
		if text := words(p.get(s.week("")).want(t, 200, "the week").body); strings.Contains(text, "clash with") {
			t.Fatalf("%s tells a clash while they are apart: %.1500s", p.name, text)
		}
	}

	pool.fetch(s, s.code("coordinator again")).want(t, http.StatusSeeOther, "together again")
	clash := func(p *person) bool {
		text := words(p.get(s.week("")).body)
		return strings.Contains(text, "clash with Away") && strings.Contains(text, "clash with Home") && strings.Contains(text, "Two bookings want the rig at one time")
	}
	eventually(t, "both tell the clash", func() bool { return clash(s.manager) && clash(pool.admin) })
	s.manager.form("/bookings", s.booking(13, 15, "Third")).want(t, 409, "a third one, where the other server's stands")
	s.manager.form(firstBooking(t, s.manager.get(s.week("")).body, "Away")+"/cancel", url.Values{"reason": {"agreed"}}).want(t, 303, "cancelled at home")
	eventually(t, "it is gone at both", func() bool {
		text := words(pool.admin.get(s.week("")).body)
		return strings.Contains(text, "08:00 to 12:00 Home") && !strings.Contains(text, "clash with") && !clash(s.manager)
	})
}

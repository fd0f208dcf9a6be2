package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// TestRegisterShowsStateAndPlace: the tables of the register say of every item in
// which state it is and where it is kept.
func TestRegisterShowsStateAndPlace(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Hazel", 1)
	for _, x := range []struct{ class, serial, state, place string }{
		{lab.ClassRam, "HZ-1", lab.StateQuarantined, "bench 1"}, {lab.ClassSensor, "HZ-2", lab.StateAtCalibration, "in the post"},
		{lab.ClassHose, "HZ-3", lab.StateRetired, "scrap box"}, {lab.ClassNeck, "HZ-4", lab.StateQuarantined, "shelf 4"}, {lab.ClassHeadForm, "HZ-5", "", ""},
	} {
		id := s.manager.make("/api/v1/labs/"+s.id.String()+"/items", lab.Item{Class: x.class, Serial: x.serial}).String()
		if x.state != "" {
			s.manager.form("/equipment/states", url.Values{"item": {id}, "state": {x.state}, "location": {x.place}, "reason": {"seen"}, "effective_at": {time.Now().Add(-time.Hour).Format("2006-01-02T15:04:05")}}).want(t, 303, x.serial)
		}
		_, row, ok := strings.Cut(s.operator.get("/equipment").want(t, 200, "the register").body, `id="item-`+id+`"`)
		row, _, _ = strings.Cut(row, "</tr>")
		if text := words("<tr " + row); !ok || !strings.Contains(text, strings.TrimSpace(x.state)) || !strings.Contains(text, x.place) || x.state == "" && !strings.Contains(text, lab.StateInService) {
			t.Errorf("%s: the row does not say %q, %q: %s", x.serial, x.state, x.place, text)
		}
	}
}

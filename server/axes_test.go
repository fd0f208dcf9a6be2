package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// A sensor's case is mounted at several positions by API and by form, and shown so.
func TestOneCaseAtSeveralPositions(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Alder", 1)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "TX-1"})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ax", "item": cell, "effective_at": now.Add(-2 * time.Hour)})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ay", "item": cell, "effective_at": now.Add(-2 * time.Hour), "also": true})
	at := now.Add(-time.Hour).UTC().Format("2006-01-02T15:04")
	s.manager.form("/equipment/mountings", url.Values{"rig": {s.Rig.String()}, "position": {"az"}, "item": {cell.String()}, "effective_at": {at}, "also": {"yes"}}).want(t, 303, "a third position")
	if text := words(s.operator.get("/equipment/use/"+cell.String()).want(t, 200, "the item").body); !strings.Contains(text, "ax, ay, az") || !strings.Contains(text, "position az, and at its other positions") {
		t.Errorf("the item does not say where it sits: %.1200s", text)
	}
	all := into[[]struct{ Serial, Position string }](t, s.operator.get(base+"/items").want(t, 200, "the items"))
	for _, i := range all {
		if i.Serial == "TX-1" && i.Position != "ax, ay, az" {
			t.Errorf("the API says %q", i.Position)
		}
	}
	if len(all) == 0 {
		t.Error("the API lists nothing")
	}
}

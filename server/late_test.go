package server_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// TestEnteredLate enters a mounting and a certificate after shots were fired and
// scored: it is said which those are, they are scored again on demand with the
// certificate, once, and a service touches counters alone.
func TestEnteredLate(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Rowan", 1), w.open("Cedar", 1)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	rig := s.manager.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: "R-9"})
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-9", CalibrationRequired: true})
	before := s.fires("before", 70, now.AddDate(0, 0, -41), "H-1")
	first := s.fires("first", 70, now.AddDate(0, 0, -39), "H-1")
	second := s.fires("second", 71, now.AddDate(0, 0, -38), "H-1")
	guessed := s.fires("guessed", 50, now.AddDate(0, 0, -37), "H-1")
	s.sync()
	if text := words(s.operator.get("/late").want(t, 200, "nothing late").body); strings.Contains(text, "S-9") {
		t.Errorf("late before anything was: %.600s", text)
	}
	mounted := s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ax", "item": cell, "effective_at": now.AddDate(0, 0, -40)})
	made := s.manager.make(base+"/calibrations", map[string]any{"item": cell, "effective_at": now.AddDate(0, 0, -60), "due_at": now.AddDate(0, 0, 300), "certificate": "K-9", "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 3.0})
	// The shot says what sat there, by its serial, and whether it was in calibration.
	if body := s.operator.get("/shots/"+first).want(t, 200, "a shot").body; !strings.Contains(body, `href="/equipment/use/`+cell.String()+`"`) || !strings.Contains(words(body), "in calibration certificate K-9") {
		t.Errorf("the shot does not name its sensor: %.3000s", words(body))
	}
	if body := s.operator.get("/shots/"+before).want(t, 200, "a shot").body; strings.Contains(body, cell.String()) {
		t.Error("a shot from before the sensor sat there names it")
	}
	// What a register is set up with touches no stroke, and is not listed.
	spare := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-10", CalibrationRequired: true})
	s.manager.make(base+"/calibrations", map[string]any{"item": spare, "effective_at": now.AddDate(0, 0, -60), "due_at": now.AddDate(0, 0, 300), "certificate": "K-10"})
	s.manager.make(base+"/services", map[string]any{"item": rig, "effective_at": now.AddDate(0, 0, -6)})
	if text := words(s.operator.get("/late").want(t, 200, "the list").body); strings.Contains(text, "K-10") || strings.Contains(text, "R-9") || !strings.Contains(text, "2 more entries of earlier dates touch no stroke") {
		t.Errorf("what touches nothing: %.900s", text)
	}
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "second ram", "item": rig, "effective_at": now.Add(-2 * time.Hour)})
	service := s.manager.make(base+"/services", map[string]any{"item": rig, "effective_at": now.AddDate(0, 0, -5)})
	s.manager.make(base+"/services", map[string]any{"item": rig, "effective_at": now.Add(-time.Hour)}) // in time

	text := words(s.operator.get("/late").want(t, 200, "the list").body)
	for _, want := range []string{"S-9 certificate K-9", "S-9 mounted at Rig 1, position ax", "2 results computed before it was entered", "R-9 service", "counters follow by themselves"} {
		if !strings.Contains(text, want) {
			t.Errorf("the list lacks %q: %.1500s", want, text)
		}
	}
	if strings.Count(text, "R-9 service") != 2 {
		t.Error("a service that was entered in time is listed, or one that was not is missing")
	}
	path := "/late/certificate/" + made.String()
	other.manager.get(path).want(t, 404, "another lab's entry")
	s.operator.get("/late/service/"+made.String()).want(t, 404, "an entry of another kind")
	s.operator.get("/late/service/"+service.String()).want(t, 200, "the service")
	s.operator.get("/late/mounting/"+mounted.String()).want(t, 200, "the mounting")
	csv := s.operator.get(path+"/shots.csv").want(t, 200, "the strokes").body
	for id, want := range map[string]string{first: "yes", second: "yes", guessed: "no"} {
		if !strings.Contains(csv, "\n"+id+",") || !strings.Contains(csv[strings.Index(csv, id):], ","+want+"\n") {
			t.Errorf("%s is not listed with %q:\n%s", id, want, csv)
		}
	}
	if strings.Contains(csv, before) {
		t.Error("a shot from before the sensor sat there is listed")
	}
	used := func(id string) (n int, certificate string, uncertainty float64) {
		scores, err := view.New().Reader(s.agent.Store).Scores(t.Context(), scope.All(), uuid.MustParse(id))
		if err != nil || len(scores) == 0 {
			t.Fatalf("scores: %v", err)
		}
		for _, k := range scores[0].Score.Calibrations {
			certificate += k.Certificate
		}
		if u := scores[0].Score.Results["peak_linear_acceleration"].ExpandedUncertainty; u != nil {
			uncertainty = *u
		}
		return len(scores), certificate, uncertainty
	}
	s.operator.form(path+"/again", nil).want(t, 403, "an operator scoring again")
	other.manager.form(path+"/again", nil).want(t, 404, "another lab scoring again")
	for range 2 { // twice is once
		s.manager.form(path+"/again", nil).want(t, 303, "scoring again")
		if text := s.settled(path); !strings.Contains(text, "none rests on what held before") {
			t.Errorf("after scoring again: %.900s", text)
		}
	}
	s.sync()
	for id, want := range map[string]string{first: "2 K-9", second: "2 K-9", guessed: "1 ", before: "1 "} {
		if n, certificate, _ := used(id); fmt.Sprint(n, " ", certificate) != want {
			t.Errorf("%s has %d results, the last by %q; want %s", id, n, certificate, want)
		}
	}
	if _, _, u := used(first); u < 0.03*70*0.9 { // 3 % of 70 g is the least that the certificate gives
		t.Errorf("the uncertainty of the certificate is not in the result: %v g", u)
	}
}

package server_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// An entry that was a mistake is withdrawn with a reason by those who keep the
// lab: what rested on it follows, and it stays to be seen.
func TestWithdrawnEntries(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Rowan", 1), w.open("Cedar", 1)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	ram := s.manager.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: "R-9", ServiceEveryStrokes: 100, OpeningStrokes: 40})
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-9", CalibrationRequired: true})
	never := regexp.MustCompile(`S-9 sensor[^■●▲]*■ no calibration recorded`)
	entries := map[string]string{
		"service/" + s.manager.make(base+"/services", map[string]any{"item": ram, "effective_at": now.AddDate(0, 0, -6)}).String():                                                                                                                   ram.String(),
		"mounting/" + s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ay", "item": cell, "effective_at": now.AddDate(0, 0, -40)}).String():                                                                               cell.String(),
		"certificate/" + s.manager.make(base+"/calibrations", map[string]any{"item": cell, "effective_at": now.AddDate(0, 0, -60), "due_at": now.AddDate(0, 0, 300), "certificate": "K-9", "sensitivity": 1.0, "sensitivity_unit": "mV/g"}).String(): cell.String(),
	}
	if text := words(s.manager.get("/health").want(t, 200, "what is due").body); never.MatchString(text) {
		t.Errorf("due with a certificate: %.900s", text)
	}
	for entry, item := range entries {
		use := "/equipment/use/" + item
		path := use + "/" + entry
		if body := s.manager.get(use).want(t, 200, "the item").body; !strings.Contains(body, `href="`+path+`"`) {
			t.Errorf("the history does not lead to %s", path)
		}
		other.manager.get(path).want(t, 404, "another lab's entry")
		other.manager.form(path, url.Values{"reason": {"R"}}).want(t, 404, "another lab's entry withdrawn")
		if strings.Contains(s.operator.get(path).want(t, 200, "for an operator").body, "Withdraw the entry") {
			t.Error("an operator is offered to withdraw it")
		}
		s.operator.form(path, url.Values{"reason": {"R"}}).want(t, 403, "an operator withdraws it")
		s.manager.form(path, url.Values{}).want(t, 422, "without a reason")
		s.manager.form(path, url.Values{"reason": {"typed for the wrong item"}}).want(t, 303, "withdrawn")
		for _, page := range []string{use, path} {
			if text := words(s.manager.get(page).want(t, 200, "afterwards").body); !strings.Contains(text, "withdrawn: typed for the wrong item") {
				t.Errorf("%s does not show what was withdrawn: %.900s", page, text)
			}
		}
		s.manager.form(path, url.Values{"reason": {"again"}}).want(t, 409, "withdrawn twice")
	}
	if text := words(s.manager.get("/equipment/use/" + ram.String()).body); !strings.Contains(text, "Strokes since the last service 40") {
		t.Errorf("the counter does not go on without the service: %.900s", text)
	}
	if text := words(s.manager.get("/health").want(t, 200, "what is due").body); !never.MatchString(text) {
		t.Errorf("without its certificate nothing is due: %.900s", text)
	}
}

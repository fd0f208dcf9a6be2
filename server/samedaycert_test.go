package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scoring"
)

// A certificate that is entered on its day covers shots of that day which were
// computed before: the shot says which certificate its results rest on, and the
// entry is offered for computing them again.
func TestCertificateOfTheSameDay(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 1)
	now := time.Now()
	file, by := s.stores(lab.RoleSource, "a.csv", string(labtest.CSV(77))), s.stores(lab.RoleMap, "rig.toml", labtest.MapTOML)
	base := "/api/v1/labs/" + s.id.String()
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-9", CalibrationRequired: true})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ax", "item": cell, "effective_at": now.Add(-20 * time.Hour)})
	certificate := func(name string, from time.Time) map[string]any {
		return map[string]any{"item": cell, "effective_at": from, "due_at": now.AddDate(0, 0, 300), "certificate": name, "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 3.0}
	}
	first := s.manager.make(base+"/calibrations", certificate("K-1", now.AddDate(0, 0, -41)))
	id := labtest.ID("same day")
	shot := labtest.Shot(s.Rig, now.Add(-time.Hour), func(x *lab.Shot) {
		x.FileName, x.Specimen, x.SourceSHA256, x.MapSHA256 = "a.csv", "H-1", file.SHA256, by.SHA256
	})
	sc := scoring.Scorer{Blobs: s.agent.Blobs}
	b, err := sc.Score(t.Context(), scoring.Job{Shot: id, FileName: "a.csv", Source: file.SHA256, Map: by.SHA256})
	if err != nil {
		t.Fatal(err)
	}
	b.Calibrations = []lab.UsedCalibration{{Calibration: first, Position: "ax", Certificate: "K-1", TookUncertainty: true}}
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, shot, file, by), labtest.Draft(t, id, b))
	s.sync()
	page := "/shots/" + id.String()
	rests := "the results rest on certificate K-1"
	if text := words(s.operator.get(page).want(t, 200, "the shot").body); !strings.Contains(text, "certificate K-1") || strings.Contains(text, rests) {
		t.Errorf("before: %.2000s", text)
	}
	second := s.manager.make(base+"/calibrations", certificate("K-2", now.Add(-2*time.Hour)))
	if text := words(s.operator.get(page).want(t, 200, "the shot").body); !strings.Contains(text, "certificate K-2") || !strings.Contains(text, rests) {
		t.Errorf("with a certificate that came after: %.2000s", text)
	}
	late := "/late/certificate/" + second.String()
	if text := words(s.manager.get("/late").want(t, 200, "entered late").body); !strings.Contains(text, "certificate K-2") || !strings.Contains(text, "1 result computed before it was entered") || strings.Contains(text, "certificate K-1") {
		t.Errorf("entered late: %.1500s", text)
	}
	s.manager.form(late+"/again", url.Values{}).want(t, 303, "scoring again")
	s.settled(late)
	if text := words(s.operator.get(page).want(t, 200, "the shot").body); strings.Contains(text, rests) {
		t.Errorf("after it was computed again: %.2000s", text)
	}
	if text := words(s.manager.get("/late").want(t, 200, "entered late").body); strings.Contains(text, "certificate K-2") {
		t.Errorf("it is listed though no result rests on what held before: %.1500s", text)
	}
}

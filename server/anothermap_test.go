package server_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
)

// stores keeps bytes at the agent and names them as an attachment.
func (s *site) stores(role, name, text string) record.Attachment {
	s.w.t.Helper()
	ref, err := s.agent.Blobs.Put(s.w.t.Context(), strings.NewReader(text), 0)
	if err != nil {
		s.w.t.Fatal(err)
	}
	return record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: role, Media: "text/plain", Name: name}
}

// A shot that a rig computed again by another channel map shows that result here,
// with its traces, and is scored again by that map.
func TestAnotherMapOfTheRig(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 1)
	now := time.Now()
	file := s.stores(lab.RoleSource, "a.csv", string(labtest.CSV(77)))
	wrong := s.stores(lab.RoleMap, "old.toml", strings.Replace(labtest.MapTOML, `unit = "g"`, `unit = "m/s2"`, 1))
	right := s.stores(lab.RoleMap, "mended.toml", labtest.MapTOML)
	shot := labtest.Shot(s.Rig, now.AddDate(0, 0, -3), func(x *lab.Shot) {
		x.FileName, x.Specimen, x.SourceSHA256, x.MapSHA256 = "a.csv", "H-1", file.SHA256, wrong.SHA256
	})
	id := labtest.ID("another map")
	score := func(by record.Attachment, turn uint32, reason string) *lab.Score {
		sc := scoring.Scorer{Blobs: s.agent.Blobs}
		b, err := sc.Score(t.Context(), scoring.Job{Shot: id, FileName: "a.csv", Source: file.SHA256, Map: by.SHA256})
		if err != nil {
			t.Fatal(err)
		}
		b.Turn, b.Reason = turn, reason
		return b
	}
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, shot, file, wrong), labtest.Draft(t, id, score(wrong, 0, "")))
	s.sync()
	page, traces := "/shots/"+id.String(), "/shots/"+id.String()+"/traces.csv?set=filtered"
	if text := words(s.operator.get(page).want(t, 200, "the shot").body); !strings.Contains(text, "old.toml") || !strings.Contains(text, "7.8") {
		t.Errorf("before: %.1500s", text)
	}
	before := s.operator.get(traces).want(t, 200, "the traces").body
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, score(right, 1, "the unit was wrong"), right))
	s.sync()

	type scored struct {
		Scores []struct {
			Map     *record.Hash          `json:"map_sha256"`
			Reason  string                `json:"reason"`
			Results map[string]lab.Result `json:"results"`
		}
	}
	var api scored
	shows := func(when string, scores int) {
		t.Helper()
		api = into[scored](t, s.operator.get("/api/v1/shots/"+id.String()).want(t, 200, "the shot"))
		if len(api.Scores) != scores || *api.Scores[0].Map != right.SHA256 || math.Abs(api.Scores[0].Results["peak_linear_acceleration"].Value-77) > 1 {
			t.Errorf("%s: %+v", when, api.Scores)
		}
		text := words(s.operator.get(page).want(t, 200, "the shot").body)
		for _, want := range []string{"mended.toml", "the unit was wrong", "Computed again by another channel map", `unit = "g"`} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the shot lacks %q: %.3000s", when, want, text)
			}
		}
	}
	shows("after the rig computed it again", 2)
	if api.Scores[0].Reason != "the unit was wrong" {
		t.Errorf("the API does not give the reason: %+v", api.Scores[0])
	}
	after := s.operator.get(traces).want(t, 200, "the traces").body
	if after == before || !strings.Contains(after, "[g]") {
		t.Errorf("the traces are those of the old map: %.200s", after)
	}

	// A mounting and a certificate are entered late, and the shot is scored again.
	base := "/api/v1/labs/" + s.id.String()
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-9", CalibrationRequired: true})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ax", "item": cell, "effective_at": now.AddDate(0, 0, -40)})
	made := s.manager.make(base+"/calibrations", map[string]any{"item": cell, "effective_at": now.AddDate(0, 0, -60), "due_at": now.AddDate(0, 0, 300), "certificate": "K-9", "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 3.0})
	path := "/late/certificate/" + made.String()
	s.manager.form(path+"/again", nil).want(t, 303, "scoring again")
	s.settled(path)
	shows("after the server scored it again", 3)
	if again := s.operator.get(traces).want(t, 200, "the traces").body; again != after {
		t.Errorf("the traces changed: %.200s", again)
	}
	s.sync()
	scores, err := view.New().Reader(s.agent.Store).Scores(t.Context(), scope.All(), id)
	if err != nil || len(scores) != 3 || scores[0].Score.MapSHA256 != right.SHA256 {
		t.Errorf("at the rig: %d results, %v", len(scores), err)
	}
}

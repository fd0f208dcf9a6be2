package server_test

import (
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// TestCampaignIsCorrected: a plan that is changed after hits were recorded judges
// them anew, on the server as on the rig PC that they came from, and both the
// campaign and each shot say so.
func TestCampaignIsCorrected(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Maple", 1)
	id := s.manager.make("/api/v1/labs/"+s.id.String()+"/campaigns", map[string]any{"name": "Maple rest", "specimens": []string{"M-7"}, "least_rest_s": 600,
		"cells": []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, ToleranceMS: 0.1, Planned: 4}}})
	s.sync()
	second := labtest.ID("second hit")
	for i, shot := range []struct{ name string }{{"first hit"}, {"second hit"}} {
		b := labtest.Shot(s.Rig, labtest.Start().Add(time.Duration(5*i)*time.Minute))
		b.Specimen, b.Location, b.Condition, b.TargetSpeedMS, b.SpeedMS, b.SinceLastImpactS = "M-7", "front", "", new(5.5), new(5.62), nil
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, labtest.ID(shot.name), b))
	}
	s.sync()
	shows := func(path string, want ...string) string {
		t.Helper()
		text := words(s.manager.get(path).want(t, 200, path).body)
		for _, x := range want {
			if !strings.Contains(text, x) {
				t.Errorf("%s lacks %q: %.2500s", path, x, text)
			}
		}
		return text
	}
	shot, campaign := "/shots/"+second.String(), "/campaigns/"+id.String()
	shows(shot, "rest too short", "it was hit 5 min after its last hit; the campaign asks for 10 min")
	if text := shows(campaign, "0 of 4 shots done"); strings.Contains(text, "was changed after") {
		t.Error("a campaign that nobody changed says that it was")
	}
	for field, v := range map[string]any{"least_rest_s": 240, "cells": []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, ToleranceMS: 0.2, Planned: 4}}} {
		e, err := lab.NewEdit(id, lab.KindCampaign, field, v)
		if err != nil {
			t.Fatal(err)
		}
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, e))
	}
	s.sync()
	text := shows(shot, "plan changed", "rest between hits: at least 4 min, was at least 10 min", "(its speed is within), was 5.50 ± 0.1 m/s (its speed is outside)", "by the plan of then: it was hit 5 min after its last hit")
	if strings.Contains(text, "rest too short") {
		t.Error("the shot is still flagged by the plan of before")
	}
	shows(campaign, "2 of 4 shots done", "This campaign was changed after 2 shots were recorded: its cells or the tolerance of the speed, the rest between hits.", "follows the plan in force")
}

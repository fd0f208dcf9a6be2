package server_test

import (
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// TestSkippedHit: a hit that somebody skipped at the rig stands on the screen of
// its campaign and in the log, with the reason and who said it.
func TestSkippedHit(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Linden", 1)
	id := s.manager.make("/api/v1/labs/"+s.id.String()+"/campaigns", map[string]any{"name": "Linden guards", "specimens": []string{"L-7", "L-8"},
		"cells": []lab.Cell{{Location: "front", Condition: "cold", TargetSpeedMS: 6, ToleranceMS: 0.2, Planned: 2}}})
	s.sync()
	step := lab.RunStep{Specimen: "L-8", Location: "front", Condition: "cold", TargetSpeedMS: 6, Hit: 2}
	say := func(do, reason string) {
		t.Helper()
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, &lab.RunOrder{Campaign: id, Do: do, Step: step, Reason: reason}))
		s.sync()
	}
	campaign := "/campaigns/" + id.String()
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
	if text := shows(campaign, "L-8"); strings.Contains(strings.ToLower(text), "skipped") {
		t.Error("a hit is called skipped before anybody said so")
	}
	say(lab.RunSkip, "guard cracked")
	shows(campaign, "L-8, front, cold, 6.00 m/s, hit 2: skipped: guard cracked", "1 skipped")
	shows("/log?kind=skipped", "L-8, front, cold, 6.00 m/s, hit 2", "guard cracked", "campaign Linden guards")
	say(lab.RunBack, "")
	if text := shows(campaign, "L-8"); strings.Contains(text, "guard cracked") {
		t.Error("a hit that was put back is still called skipped")
	}
	shows("/log", "put back", "guard cracked")
}

// TestDigestCountsEveryStroke: those without a file are strokes of the day too.
func TestDigestCountsEveryStroke(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Alder", 1)
	at := time.Date(2026, 2, 3, 12, 0, 0, 0, time.UTC)
	labtest.Append(t, s.agent.Ledger, s.id,
		labtest.Draft(t, labtest.ID("one"), labtest.Shot(s.Rig, at)),
		labtest.Draft(t, labtest.ID("none"), &lab.Strokes{Rig: s.Rig, Kind: lab.StrokeNoFile, Number: 1, Reason: "not armed", EffectiveAt: lab.At(at.Add(time.Minute))}),
		labtest.Draft(t, labtest.ID("dry"), &lab.Strokes{Rig: s.Rig, Kind: lab.ShotDry, Number: 3, EffectiveAt: lab.At(at.Add(time.Hour))}),
		labtest.Draft(t, labtest.ID("next day"), &lab.Strokes{Rig: s.Rig, Kind: lab.ShotDry, Number: 5, EffectiveAt: lab.At(at.AddDate(0, 0, 1))}))
	s.sync()
	for day, want := range map[string]string{"2026-02-03": "1 shot, 4 strokes without a file", "2026-02-04": "no shot, 5 strokes without a file"} {
		if text := words(s.manager.get("/digest?day="+day).want(t, 200, day).body); !strings.Contains(text, want) {
			t.Errorf("the digest of %s lacks %q: %.1500s", day, want, text)
		}
	}
}

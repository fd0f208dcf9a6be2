package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
)

// A typed speed that is corrected here is in the results at once, with the flags of
// taking in; where the bytes are still at the rig the shot says what its results
// rest on until it can be computed again.
func TestCorrectedSpeedIsInTheResults(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 1)
	by := s.stores(lab.RoleMap, "rig.toml", labtest.MapTOML)
	fire := func(name string, peakG float64, after ...func(*lab.Shot)) string {
		t.Helper()
		file := s.stores(lab.RoleSource, name, string(labtest.CSV(peakG)))
		id := labtest.ID(name)
		shot := labtest.Shot(s.Rig, time.Now().AddDate(0, 0, -3), func(x *lab.Shot) {
			x.FileName, x.Specimen, x.SourceSHA256, x.MapSHA256, x.SpeedMS = name, "H-1", file.SHA256, by.SHA256, new(52.0)
		})
		sc := scoring.Scorer{Blobs: s.agent.Blobs}
		b, err := sc.Score(t.Context(), scoring.Job{Shot: id, FileName: name, Source: file.SHA256, Map: by.SHA256, TypedSpeedMS: new(52.0)})
		if err != nil {
			t.Fatal(err)
		}
		scoring.Carry(b, []lab.Flag{{Code: lab.FlagFileTime, Text: "the file's time is of 1970"}})
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, shot, file, by), labtest.Draft(t, id, b))
		for _, f := range after {
			f(shot)
		}
		return "/shots/" + id.String()
	}
	correct := func(path, speed string) {
		t.Helper()
		v := formAt(t, s.manager.get(path).body, path+"/correct")
		v.Set("kind", "shot")
		v.Set("speed_m_s", speed)
		s.manager.form(path+"/correct", v).want(t, 303, "the correction")
	}
	speed := func(path string, want float64) string {
		t.Helper()
		body := s.operator.get(path).want(t, 200, "the shot").body
		if got := into[struct {
			Scores []struct{ Results map[string]lab.Result }
		}](t, s.operator.get("/api/v1"+path).want(t, 200, "the shot")); len(got.Scores) == 0 || got.Scores[0].Results["impact_speed"].Value != want {
			t.Errorf("%s: %+v, want %g m/s", path, got.Scores, want)
		}
		return body
	}

	here := fire("here.csv", 70)
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, labtest.ID("here.csv"), &lab.Accepted{Shot: labtest.ID("here.csv")}))
	s.sync()
	if text := words(s.operator.get(here).want(t, 200, "the shot").body); !strings.Contains(text, "Result accepted") || strings.Contains(text, "before it was computed again") {
		t.Errorf("an acceptance at the rig is not shown: %.2000s", text)
	}
	speed(here, 52)
	correct(here, "5,2")
	body := speed(here, 5.2)
	if !strings.Contains(body, ", before it was computed again") || strings.Contains(body, `id="stated"`) || !strings.Contains(body, "the file&#39;s time is of 1970") {
		t.Errorf("after the correction: %.3000s", words(body))
	}

	away := fire("away.csv", 80, func(x *lab.Shot) {
		if err := s.agent.Blobs.Remove(t.Context(), x.SourceSHA256); err != nil {
			t.Fatal(err)
		}
	})
	if err := s.trySync(); err != nil {
		t.Logf("without its bytes: %v", err)
	}
	correct(away, "6.1")
	body = speed(away, 52)
	if text := words(body); !strings.Contains(text, "The results rest on a typed speed of 52 m/s; recorded now is a typed speed of 6.1 m/s.") {
		t.Errorf("it does not say what the results rest on: %.2000s", text)
	}
	if strings.Contains(body, away+"/stated") {
		t.Error("an operator may compute it again here")
	}
	again := func() answer {
		return s.manager.form(away+"/stated", formAt(t, s.manager.get(away).body, away+"/stated"))
	}
	if a := again(); a.status < 400 || !strings.Contains(words(a.body), "its bytes are still on the rig PC") {
		t.Errorf("without the bytes = %d %.2000s", a.status, words(a.body))
	}
	s.stores(lab.RoleSource, "away.csv", string(labtest.CSV(80)))
	s.sync()
	again().want(t, 303, "computed again")
	if body := speed(away, 6.1); strings.Contains(body, `id="stated"`) {
		t.Error("it still asks")
	}
	s.manager.form(away+"/stated", url.Values{}).want(t, 303, "once more, without need")
	s.sync()
	scores, err := view.New().Reader(s.agent.Store).Scores(t.Context(), scope.All(), labtest.ID("away.csv"))
	if err != nil || len(scores) != 2 {
		t.Errorf("%d results at the rig, %v, want 2", len(scores), err)
	}
}

package server_test

import (
	"encoding/csv"
	"math"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
	"thudbook/sync/blob"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// fires has the agent of a site record a shot with a half sine of the given peak
// in g along x, and send it.
func (s *site) fires(name string, peakG float64, at time.Time, specimen string) string {
	t := s.w.t
	t.Helper()
	source := labtest.CSV(peakG)
	ref, err := s.agent.Blobs.Put(t.Context(), strings.NewReader(string(source)), 0)
	if err != nil {
		t.Fatal(err)
	}
	by, err := s.agent.Blobs.Put(t.Context(), strings.NewReader(labtest.MapTOML), 0)
	if err != nil {
		t.Fatal(err)
	}
	attached := []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleSource, Media: "text/csv", Name: name + ".csv"},
		{SHA256: by.SHA256, Size: by.Size, Role: lab.RoleMap, Media: "application/toml", Name: "map.toml"}}
	if name == "guessed" {
		by, attached = blob.Ref{}, attached[:1]
	}
	shot := labtest.Shot(s.Rig, at, func(x *lab.Shot) {
		x.FileName, x.Specimen, x.Location, x.SourceSHA256, x.MapSHA256 = name+".csv", specimen, "front", ref.SHA256, by.SHA256
	})
	rep := score.Score(t.Context(), strings.NewReader(string(source)), score.Options{Name: shot.FileName, Map: labMap(t)})
	b := labtest.Score(labtest.ID(s.marker, name), 5.5, func(b *lab.Score) {
		b.MapSHA256, b.Results = by.SHA256, map[string]lab.Result{}
		for key, r := range rep.Results {
			b.Results[key] = lab.Result{Value: r.Value, Unit: r.Unit}
		}
	})
	id := labtest.ID(s.marker, name)
	labtest.Append(t, s.agent.Ledger, s.id,
		labtest.Draft(t, id, shot, attached...),
		labtest.Draft(t, id, b))
	return id.String()
}

// peakOf scores a file of its own whose values are those of a sensor that read
// right: what the corrected results have to be.
func peakOf(t *testing.T, peakG float64, key string) float64 {
	t.Helper()
	rep := score.Score(t.Context(), strings.NewReader(string(labtest.CSV(peakG))), score.Options{Name: "right.csv", Map: labMap(t)})
	r, ok := rep.Results[key]
	if !ok {
		t.Fatalf("no %s: %v", key, rep.Error)
	}
	return r.Value
}

func labMap(t *testing.T) *chanmap.Map {
	t.Helper()
	m, err := chanmap.Parse(strings.NewReader(labtest.MapTOML), "map")
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// table reads the strokes of a review, by shot.
func (s *site) table(path string) map[string]map[string]string {
	t := s.w.t
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(s.manager.get(path+"/shots.csv").want(t, 200, "the table").body)).ReadAll()
	if err != nil || len(rows) == 0 {
		t.Fatalf("the table: %v", err)
	}
	out := map[string]map[string]string{}
	for _, r := range rows[1:] {
		out[r[0]] = map[string]string{}
		for i, cell := range r {
			out[r[0]][rows[0][i]] = cell
		}
	}
	return out
}

func figure(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Errorf("%q is no number", text)
	}
	return v
}

// TestOutOfTolerance follows a sensor that comes back from its calibration 5 % off:
// which shots that touches, what their results become under each course, the
// report, the new results with the shots, and the review withdrawn.
//
// A sensor of sensitivity S' whose file was written with S reads S'/S high: the
// acceleration is the file's times S/S'. For a peak of 80 g written with 1.00 mV/g
// and taken with 1.05 mV/g it is 80/1.05 = 76.19 g.
func TestOutOfTolerance(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Alder", 3)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	good, found := now.Add(-40*24*time.Hour), now.Add(-1*24*time.Hour)
	middle := good.Add(found.Sub(good) / 2)

	sensor := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "AX-7", Name: "accelerometer X", CalibrationRequired: true})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ax", "item": sensor, "effective_at": good.Add(-time.Hour)})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ax", "item": sensor, "effective_at": found.Add(-10 * time.Second)}) // another sat there for a moment
	s.manager.make(base+"/calibrations", map[string]any{"item": sensor, "effective_at": good, "due_at": good.AddDate(1, 0, 0), "certificate": "K-1", "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 1.5})
	s.manager.form("/campaigns", url.Values{"lab": {s.id.String()}, "name": {"Autumn"}, "specimens": {"HM-1"}, "locations": {"front"}, "target_speeds_m_s": {"5.5"}, "planned": {"3"},
		"acceptance_limits": {"peak_linear_acceleration; 78 g; own plan"}}).want(t, 303, "a campaign")
	before := s.fires("before", 80, good.Add(-time.Minute), "HM-1")
	first := s.fires("first", 80, good, "HM-1")
	half := s.fires("half", 60, middle, "HM-1")
	guessed := s.fires("guessed", 50, middle.Add(time.Hour), "")
	last := s.fires("last", 81, found.Add(-time.Second), "HM-1")
	after := s.fires("after", 79, found, "HM-1")
	s.sync()

	// The certificate of the form: found 5 % off, adjusted back.
	day := found.Format(time.DateOnly)
	s.manager.form("/equipment/calibrations", url.Values{"item": {sensor.String()}, "effective_at": {day}, "due_at": {now.AddDate(1, 0, 0).Format(time.DateOnly)}, "certificate": {"K-0"},
		"sensitivity": {"1.0"}, "sensitivity_unit": {"mV/g"}, "as_found_sensitivity": {"x"}}).want(t, 422, "a value as found that is no number")
	k2 := s.manager.make(base+"/calibrations", map[string]any{"item": sensor, "effective_at": found, "due_at": now.AddDate(1, 0, 0), "certificate": "K-2", "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 1.5,
		"as_found_sensitivity": 1.05, "as_found_limit_percent": 2.0, "laboratory": "Calibration house"})
	for path, want := range map[string]string{
		"/health":                           "sensitivity changed: outside its limit Certificate K-2 found the sensitivity +5.0 % off the one of certificate K-1; limit ±2.0 %, set with certificate K-2",
		"/reviews":                          "no review yet",
		"/equipment/use/" + sensor.String(): "See which shots this touches",
	} {
		if text := words(s.operator.get(path).want(t, 200, path).body); !strings.Contains(text, want) {
			t.Errorf("%s lacks %q: %.200s", path, want, text)
		}
	}

	// Tried: nothing is written.
	try := "/reviews/new?found=" + k2.String()
	text := s.tried(try)
	for _, want := range []string{"4 shots and dry strokes with this sensor in between", "its channel map is a guess, and takes no certificate", "3 results that change", "2 verdicts that change", "80.0 → becomes 76.2", "HM-1 Autumn", "Peak linear acceleration above 78.0 g → becomes ● within changes"} {
		if !strings.Contains(text, want) {
			t.Errorf("the trial lacks %q: %.200s", want, text)
		}
	}
	if text := s.tried(try + "&course=linear"); !strings.Contains(text, "1 verdicts that change") { // the first shot was fired with 1.00 mV/g
		t.Errorf("in a straight line: %.200s", text)
	}
	step := middle.Add(time.Hour).Format("2006-01-02T15:04:05")
	if text := s.tried(try + "&course=step&step_at=" + step); !strings.Contains(text, "1 results that change") {
		t.Errorf("with a step: %.200s", text)
	}
	s.manager.get(try+"&course=step").want(t, 422, "a step without a moment")
	s.manager.get(try+"&course=step&step_at="+now.AddDate(0, 0, 2).Format("2006-01-02T15:04:05")).want(t, 422, "a step outside the span")
	s.manager.get("/reviews/new?found="+s.Ram.String()).want(t, 404, "what found nothing")

	// Recorded, with the straight line.
	form := url.Values{"found": {k2.String()}, "course": {"linear"}, "why": {"The drift was even."}, "number": {"NC-8"}, "cause": {"Cable strained."}, "action": {"Cable replaced."}, "told": {"Both departments."}, "significance": {"Two verdicts."}, "halted": {"Report R-1 called back."}, "resumed": {"The manager, today."}}
	s.operator.form("/reviews", form).want(t, 403, "an operator's review")
	s.manager.form("/reviews", with(form, "why", "")).want(t, 422, "a review without a reason")
	a := s.manager.form("/reviews", form).want(t, 303, "the review")
	path, _, _ := strings.Cut(a.header.Get("Location"), "?")
	text = s.settled(path)
	for _, want := range []string{"report NC-8", "in a straight line from the good value", "The drift was even.", "Cable strained.", "Cable replaced.", "Both departments.", "Two verdicts.", "Report R-1 called back.", "The manager, today.", "by alder.manager", "3 results recalculated", "1 verdicts that change"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q: %.200s", want, text)
		}
	}
	rows := s.table(path)
	span := found.Sub(good).Seconds()
	for id, want := range map[string]struct{ peak, share float64 }{first: {80, 0}, half: {60, 0.5}, last: {81, 1 - 1/span}} {
		held := 1 + 0.05*want.share
		r := rows[id]
		if got := figure(t, r["sensitivity_taken"]); math.Abs(got-held) > 1e-6 {
			t.Errorf("sensitivity %v, want %v", got, held)
		}
		for _, key := range []string{"peak_linear_acceleration", "severity_index", "hic15"} {
			if got, right := figure(t, r[key+"_after"]), peakOf(t, want.peak/held, key); math.Abs(got/right-1) > 1e-5 { // six decimals in the file
				t.Errorf("%s of the shot of %v g: %v, want %v", key, want.peak, got, right)
			}
		}
		if r["specimen"] != "HM-1" || r["campaign"] != "Autumn" || r["position"] != "ax" {
			t.Errorf("row %v", r)
		}
	}
	if r := rows[guessed]; r["peak_linear_acceleration_after"] != "" || r["why_not"] == "" {
		t.Errorf("the shot with a guessed map: %v", r)
	}
	if len(rows) != 4 || rows[before] != nil || rows[after] != nil {
		t.Errorf("the review touches %d strokes, want the 4 between the certificates", len(rows))
	}
	if r := rows[last]; r["verdict_changes"] != "yes" || r["verdict_before"] != "Peak linear acceleration above 78.0 g" || r["verdict_after"] != "within" {
		t.Errorf("verdict of the last: %v", r)
	}

	// From then on the shot says which result it shows, on the server and at the rig.
	page := words(s.operator.get("/shots/"+last).want(t, 200, "the last shot").body)
	for _, want := range []string{"Shown is result 2, computed on", "with a corrected sensitivity", "Review NC-8", "77.1"} {
		if !strings.Contains(page, want) {
			t.Errorf("the shot lacks %q: %.200s", want, page)
		}
	}
	s.sync()
	if got := s.agentPeak(last); math.Abs(got-peakOf(t, 81/(1+0.05*(1-1/span)), "peak_linear_acceleration")) > 1e-3 {
		t.Errorf("at the rig the last shot has %v g", got)
	}
	if text := words(s.operator.get("/health").body); strings.Contains(text, "sensitivity changed: outside its limit Certificate K-2") {
		t.Error("the board still asks for a review")
	}
	if again := words(s.manager.form(path+"/again", nil).want(t, 303, "again").body); strings.Contains(again, "fault") {
		t.Error(again)
	}
	if text := s.settled(path); !strings.Contains(text, "1 → 2") || strings.Contains(text, "2 → 3") {
		t.Errorf("doing it again made more results: %.200s", text)
	}

	// Withdrawn: the certificates alone hold again, and nothing is gone.
	s.operator.form(path+"/withdraw", url.Values{"reason": {"mistake"}}).want(t, 403, "an operator withdrawing")
	s.manager.form(path+"/withdraw", url.Values{}).want(t, 422, "withdrawing without a reason")
	s.manager.form(path+"/withdraw", url.Values{"reason": {"another sensor"}}).want(t, 303, "withdrawing")
	if text := s.settled(path); !strings.Contains(text, "This review was withdrawn: another sensor") {
		t.Errorf("after withdrawing: %.900s", text)
	}
	s.sync()
	if got := s.agentPeak(last); math.Abs(got-peakOf(t, 81, "peak_linear_acceleration")) > 1e-6 {
		t.Errorf("after withdrawing the last shot has %v g at the rig", got)
	}
	if text := words(s.operator.get("/reviews").body); !strings.Contains(text, "no review yet") {
		t.Errorf("after withdrawing nobody is asked for a review: %.900s", text)
	}
}

// tried waits for a trial to be computed and gives its words.
func (s *site) tried(path string) string {
	return s.until(path, "Computing")
}

// settled waits until a review has been applied.
func (s *site) settled(path string) string {
	return s.until(path, "Recalculating")
}

func (s *site) until(path, busy string) string {
	t := s.w.t
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; {
		text := words(s.manager.get(path).want(t, 200, path).body)
		if !strings.Contains(text, busy+":") {
			return text
		}
		if time.Now().After(deadline) {
			t.Fatalf("%s does not end: %.600s", path, text)
		}
	}
}

// agentPeak is the peak that the agent shows of a shot, in g.
func (s *site) agentPeak(shot string) float64 {
	t := s.w.t
	t.Helper()
	scores, err := view.New().Reader(s.agent.Store).Scores(t.Context(), scope.All(), uuid.MustParse(shot))
	if err != nil || len(scores) == 0 {
		t.Fatalf("scores at the rig: %v", err)
	}
	return scores[0].Score.Results["peak_linear_acceleration"].Value
}

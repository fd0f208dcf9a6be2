package agent_test

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// twoColumns is a record of an acceleration in c1 and an angular velocity in c2.
func twoColumns() string {
	var b strings.Builder
	b.WriteString("t,c1,c2\n")
	for i := range 1200 {
		t, a, w := float64(i)/20000, 0.0, 0.0
		if t >= 0.020 && t < 0.030 {
			s := math.Sin(math.Pi * (t - 0.020) / 0.010)
			a, w = 80*s, 30*s
		}
		fmt.Fprintf(&b, "%.5f,%.5f,%.5f\n", t, a, w)
	}
	return b.String()
}

// twoColumnMap reads one column as acceleration along x, in g, the other as angular
// velocity about x, in rad/s.
func twoColumnMap(acceleration, rate string) string {
	return mapText[:strings.Index(mapText, "[[channel]]")] + fmt.Sprintf(`[[channel]]
column = %q
measures = "linear acceleration"
axis = "x"
unit = "g"
cfc = 1000
full_scale = 500.0
[[channel]]
column = %q
measures = "angular velocity"
axis = "x"
unit = "rad/s"
cfc = 60
full_scale = 50.0
`, acceleration, rate)
}

// A shot that was read by a map with two columns swapped is computed again by the
// right one: results, flags and traces are those of a shot that was taken in by it.
func TestAnotherMap(t *testing.T) {
	right, swapped := twoColumnMap("c1", "c2"), twoColumnMap("c2", "c1")
	ref := start(t)
	ref.write("map.toml", right)
	ref.write("a.csv", twoColumns())
	id := ref.shots(1)["a.csv"]

	r := start(t)
	r.write("map.toml", swapped)
	r.write("a.csv", twoColumns())
	r.shots(1)
	was := r.get("/api/v1/shots/" + id).json(t)
	if peak := value(was, "peak_linear_acceleration"); math.Abs(peak-30) > 1 {
		t.Fatalf("the swapped map gives %g g", peak)
	}
	path := "/shots/" + id + "/map"
	r.page(path, "No other channel map is saved")
	wrongTraces := r.get("/shots/" + id + "/traces.csv?set=filtered").body
	r.write("map.toml", right)
	r.page("/shots/"+id, `href="`+path+`"`, "Compute again by another channel map")
	r.page("/result", `href="`+path+`"`)
	form := r.page(path, "holds now for new files", "channel c1, Measures: angular velocity becomes linear acceleration", "Flags that go", "saturated", "Peak linear acceleration", "30.", "80.")
	v := fields(t, form, path)
	if a := r.form(path, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "This is needed") {
		t.Errorf("without a reason = %d", a.status)
	}
	if got := r.get("/api/v1/shots/" + id).json(t); value(got, "peak_linear_acceleration") != value(was, "peak_linear_acceleration") {
		t.Error("the preview changed the shot")
	}
	v.Set("reason", "c1 and c2 were swapped")
	for range 2 { // pressed twice
		if a := r.form(path, v); a.status != http.StatusSeeOther || a.header.Get("Location") != "/shots/"+id {
			t.Fatalf("recorded = %d\n%s", a.status, a.body)
		}
	}
	v.Set("key", "another")
	if a := r.form(path, v); a.status != http.StatusConflict {
		t.Errorf("said of a result that holds no more = %d", a.status)
	}
	got, want := r.get("/api/v1/shots/"+id).json(t), ref.get("/api/v1/shots/"+id).json(t)
	for _, part := range []string{"results", "flags", "map_sha256", "error"} {
		if a, b := fmt.Sprint(got[part]), fmt.Sprint(want[part]); a != b {
			t.Errorf("%s: %s\nwant %s", part, a, b)
		}
	}
	for _, set := range []string{"raw", "filtered"} {
		traces := "/shots/" + id + "/traces.csv?set=" + set
		if a, b := r.get(traces).body, ref.get(traces).body; a != b || a == wrongTraces {
			t.Errorf("the %s traces are not those of the right map:\n%.300s\nwant\n%.300s", set, a, b)
		}
	}
	r.page("/shots/"+id, "result 2, computed on", "by another channel map", "c1 and c2 were swapped", "80.0")
	r.page("/shots", "80.0")
	r.page("/day", "<b>computed again</b>, shot, "+time.Now().Format("2006-01-02"), ": c1 and c2 were swapped", "by another channel map")
	r.page(path, "last for the shot of") // the swapped one can be taken back

	// A speed that is corrected later is computed by the map that holds.
	r.send("/shots/"+id+"/correct", url.Values{"kind": {"shot"}, "specimen": {"H-1"}, "location": {"front"}, "target_speed_m_s": {"5"}, "speed_m_s": {"5.1"}}, "/shots/"+id)
	got = r.get("/api/v1/shots/" + id).json(t)
	if value(got, "impact_speed") != 5.1 || value(got, "peak_linear_acceleration") != value(want, "peak_linear_acceleration") {
		t.Errorf("after a corrected speed: %v", got["results"])
	}
}

func value(shot map[string]any, result string) float64 {
	one, _ := shot["results"].(map[string]any)[result].(map[string]any)
	v, _ := one["value"].(float64)
	return v
}

// A shot whose map was missing, and one that the map cannot read, say what is wrong.
func TestAnotherMapForAGuess(t *testing.T) {
	r := start(t)
	r.write("a.csv", csv(80))
	id := r.shots(1)["a.csv"]
	r.page("/shots/"+id, "guessed")
	path := "/shots/" + id + "/map"
	r.write("map.toml", twoColumnMap("c1", "c2"))
	r.page(path, "This channel map reads nothing in the file of the shot")
	r.write("map.toml", mapText)
	form := r.page(path, "guessed from the column heads", "Flags that go", "no channel map was given")
	v := fields(t, form, path)
	v.Set("reason", "the map was not there yet")
	r.send(path, v, "/shots/"+id)
	if b := r.page("/shots/"+id, "map.toml"); strings.Contains(b, "&nbsp;guessed") {
		t.Error("the map is still called guessed")
	}
}

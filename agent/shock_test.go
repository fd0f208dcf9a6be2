package agent_test

import (
	table "encoding/csv"
	"math"
	"net/http"
	"strconv"
	"strings"
	"testing"
)

// The screen of a shot offers spectra, computes them when asked, and gives all
// digits. Undamped and below p = 2fT = 1 a half-sine's maximax is its ringing,
// A·2p cos(πp/2)/(1 − p²) (equation of motion solved by hand).
func TestShockSpectra(t *testing.T) {
	r := start(t)
	a := r.post(part{"map", "m.toml", mapText}, part{"file", "shot.csv", csv(100)})
	if a.status != http.StatusCreated {
		t.Fatalf("POST = %d\n%s", a.status, a.body)
	}
	id := a.json(t)["id"].(string)
	if body := r.page("/shots/"+id, `<details id="shock" class="shock">`); strings.Contains(body, "Maximax") {
		t.Error("computed without being asked")
	}
	r.page("/shots/"+id+"?shock=yes&q=10&per_octave=3", `<details id="shock" class="shock" open>`, "Maximax absolute acceleration", "ax (X)", "axis-y", "shock.csv?")
	r.page("/shots/"+id+"?shock=yes&q=ten", "“ten” is not a number")
	r.page("/shots/"+id+"?shock=yes&to=11000", "the record of 20000 samples a second reaches 10000 Hz at most")

	got := r.get("/shots/" + id + "/shock.csv?q=1e9&from=25&to=25&per_octave=1&unfiltered=yes")
	rows, err := table.NewReader(strings.NewReader(got.body)).ReadAll()
	if err != nil || got.status != 200 || len(rows) != 4 {
		t.Fatalf("%d, %v, %q", got.status, err, got.body)
	}
	v, err := strconv.ParseFloat(rows[1][5], 64)
	const p = 2 * 25 * 0.010
	if want := 100 * 2 * p * math.Cos(math.Pi*p/2) / (1 - p*p); err != nil || math.Abs(v-want) > 2e-3*want {
		t.Errorf("%q at 25 Hz, want %g g", rows[1][5], want)
	}
	if got := r.get("/shots/" + id + "/shock.csv?q=ten"); got.status != http.StatusUnprocessableEntity {
		t.Errorf("a wrong Q: %d %s", got.status, got.body)
	}
}

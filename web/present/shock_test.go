package present_test

import (
	"encoding/csv"
	"errors"
	"math"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"thudbook/metrics/score"
	"thudbook/metrics/shock"
	"thudbook/metrics/signal"
	"thudbook/sync/problem"
	"thudbook/web/present"
)

// square is a pulse of 30 g and 4 ms along x; y is dead.
func square(t *testing.T, r shock.Request) *shock.Spectra {
	t.Helper()
	x := make([]float64, 4000)
	for i := range 80 {
		x[100+i] = 30
	}
	rec := &signal.Recording{RateHz: 20000, Channels: []signal.Channel{
		{Name: "ax", Measures: signal.LinearAcceleration, Axis: signal.X, Values: x},
		{Name: "ay", Measures: signal.LinearAcceleration, Axis: signal.Y, Values: make([]float64, 4000)},
		{Name: "az", Measures: signal.LinearAcceleration, Axis: signal.Z, Values: []float64{math.NaN()}},
	}}
	s, err := shock.Of(t.Context(), rec, nil, r)
	if err != nil {
		t.Fatal(err)
	}
	return &s
}

func TestShockAsked(t *testing.T) {
	t.Parallel()
	if p, _, ask := present.Shock("7", url.Values{"q": {"x"}}); ask || p.Asked || len(p.Form.Errors) > 0 {
		t.Errorf("not asked: %+v", p)
	}
	p, r, ask := present.Shock("7", url.Values{"shock": {"yes"}, "q": {"25"}, "from": {"20"}, "to": {"1.5e3"}, "per_octave": {"12"}, "unfiltered": {"yes"}})
	if !ask || r.Q != 25 || r.FromHz != 20 || r.ToHz != 1500 || r.PerOctave != 12 || !r.Unfiltered {
		t.Errorf("%v %+v", ask, r)
	}
	if !strings.HasPrefix(p.CSV, "/shots/7/shock.csv?") || !strings.Contains(p.CSV, "q=25") {
		t.Errorf("link %q", p.CSV)
	}
	for field, bad := range map[string]string{"q": "ten", "from": "-1", "to": "0", "per_octave": "96"} {
		p, _, ask := present.Shock("7", url.Values{"shock": {"yes"}, field: {bad}})
		if ask || p.Form.Errors[field] == "" || p.Form.Values[field] != bad {
			t.Errorf("%s %q: %+v", field, bad, p.Form)
		}
	}
}

// Undamped, a square pulse that lasts half a period or longer doubles: 2A.
func TestShockShown(t *testing.T) {
	t.Parallel()
	p, r, _ := present.Shock("7", url.Values{"shock": {"yes"}, "q": {"1e9"}, "from": {"200"}, "to": {"400"}, "per_octave": {"1"}})
	present.FillShock(p, square(t, r.Request), r.Unfiltered, nil)
	if len(p.Rows) != 2 || p.Rows[0].Frequency != "200.0" || p.Rows[0].Cells[1] != "0.00" {
		t.Fatalf("rows %+v", p.Rows)
	}
	for _, row := range p.Rows {
		if v, err := strconv.ParseFloat(row.Largest, 64); err != nil || math.Abs(v-60) > 0.4 || row.Largest != row.Cells[0] {
			t.Errorf("%+v, want 60 g within the ramp of one sample at both ends", row)
		}
	}
	if strings.Join(p.Heads, ",") != "ax (X),ay (Y)" || !strings.Contains(string(p.Plot), "axis-y") || strings.Contains(p.Says, "before its channel filters") != r.Unfiltered {
		t.Errorf("heads %q, says %q", p.Heads, p.Says)
	}
	if len(p.Notes) == 0 || p.Notes[0] != "Left out: az, sample 1 could not be read." {
		t.Errorf("notes %q", p.Notes)
	}
	p.Fault = ""
	present.FillShock(p, nil, false, &shock.Refused{Text: "no"})
	if p.Fault != "No." {
		t.Errorf("fault %q", p.Fault)
	}
	present.FillShock(p, nil, false, errors.New("/secret/path"))
	if strings.Contains(p.Fault, "secret") {
		t.Errorf("fault %q shows the inside", p.Fault)
	}
}

func TestServeShock(t *testing.T) {
	t.Parallel()
	w := httptest.NewRecorder()
	err := present.ServeShock(w, "7", url.Values{"from": {"200"}, "to": {"400"}, "per_octave": {"1"}}, func(r score.ShockRequest) (*shock.Spectra, error) {
		return square(t, r.Request), nil
	})
	rows, errCSV := csv.NewReader(w.Body).ReadAll()
	if err != nil || errCSV != nil || len(rows) != 5 || rows[0][4] != "frequency_hz" || rows[2][4] != "400" || w.Header().Get("Content-Type") != "text/csv; charset=utf-8" {
		t.Errorf("%v, %v, %q", err, errCSV, rows)
	}
	for name, q := range map[string]url.Values{"typed": {"q": {"ten"}}, "refused": {"q": {"0.1"}}} {
		err := present.ServeShock(httptest.NewRecorder(), "7", q, func(score.ShockRequest) (*shock.Spectra, error) {
			return nil, &shock.Refused{Text: "a quality factor Q of 0.1"}
		})
		if problem.Of(err) != problem.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
}

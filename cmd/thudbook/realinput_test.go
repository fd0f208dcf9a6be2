package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// intakeAnswer is what the agent says of a shot.
type intakeAnswer struct {
	SHA256  string
	Flags   []struct{ Code string }
	Results map[string]struct{ Value float64 }
}

// postReal sends a file of testdata with its channel map to a running agent and
// gives what the agent made of it.
func postReal(t *testing.T, agent *process, name string) intakeAnswer {
	t.Helper()
	path := filepath.Join("../../testdata", name)
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	for _, part := range []struct{ field, path string }{{"map", strings.TrimSuffix(path, ".csv") + ".map.toml"}, {"file", path}} {
		b, err := os.ReadFile(part.path)
		if err != nil {
			t.Fatal(err)
		}
		w, err := m.CreateFormFile(part.field, filepath.Base(part.path))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(b); err != nil {
			t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	res, err := http.Post(agent.url("/api/v1/shots"), m.FormDataContentType(), &form)
	if err != nil {
		t.Fatal(err)
	}
	text := body(t, res)
	if res.StatusCode != http.StatusCreated {
		t.Fatalf("%s: %s %s", name, res.Status, text)
	}
	var made struct{ ID string }
	if err := json.Unmarshal([]byte(text), &made); err != nil {
		t.Fatal(err)
	}
	var shot intakeAnswer
	if res, err = http.Get(agent.url("/api/v1/shots/" + made.ID)); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(body(t, res)), &shot); err != nil {
		t.Fatal(err)
	}
	if res, err = http.Get(agent.url("/api/v1/shots/" + made.ID + "/source")); err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	back, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	if want, err := os.ReadFile(path); err != nil || !bytes.Equal(back, want) {
		t.Errorf("%s did not come back byte for byte (%v)", name, err)
	}
	return shot
}

// TestRealInputThroughIntake sends the reference signals through the same intake
// as the rig's files. Their expected values are those of an independent script on
// numpy and scipy (testdata/expected.json); those of the motorcycle-helmet data
// set (Schmidt, Mattern and Schüler 1981; Silverman, J. R. Statist. Soc. B 47
// (1985) 1-52) are those of a plain script, as in TestScoreMotorcycleHelmet.
func TestRealInputThroughIntake(t *testing.T) {
	agent := start(t, "agent", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	b, err := os.ReadFile("../../testdata/expected.json")
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]struct{ Results map[string]float64 }
	if err := json.Unmarshal(b, &expected); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"frontal-9ms.csv", "oblique-double.csv", "short-hard.csv"} {
		shot := postReal(t, agent, name)
		if len(expected[name].Results) < 11 {
			t.Fatalf("%s: only %d expected values", name, len(expected[name].Results))
		}
		for metric, want := range expected[name].Results {
			tolerance := 1e-3
			if metric == "peak_angular_acceleration" || metric == "gambit" {
				tolerance = 5e-3
			}
			got, ok := shot.Results[metric]
			if !ok || math.Abs(got.Value-want) > tolerance*math.Abs(want) {
				t.Errorf("%s %s = %v (there: %v), want %v within %g", name, metric, got.Value, ok, want, tolerance)
			}
		}
	}
	shot := postReal(t, agent, "motorcycle-helmet.csv")
	if !strings.Contains(fmt.Sprint(shot.Flags), "uneven_sampling") {
		t.Errorf("flags %v, want uneven_sampling", shot.Flags)
	}
	for metric, want := range map[string]float64{"severity_index": 1079.61, "hic15": 951.80, "hic36": 951.80, "peak_linear_acceleration": 134} {
		if got := shot.Results[metric].Value; math.Abs(got-want) > 1e-3*want {
			t.Errorf("motorcycle helmet %s = %v, want %v", metric, got, want)
		}
	}
}

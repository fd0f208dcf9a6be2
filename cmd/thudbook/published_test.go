package main

import (
	"encoding/json"
	"strings"
	"testing"
)

// Published functions come only when asked for, apart from the results, each with
// the sentence that says what it is not.
func TestPublishedFunctions(t *testing.T) {
	args := []string{"score", "--json", "--map", "../../testdata/frontal-9ms.map.toml", "../../testdata/frontal-9ms.csv"}
	read := func(args ...string) (line map[string]json.RawMessage) {
		t.Helper()
		out, errOut, code := thudbook(t.Context(), t, args...)
		if code != 0 {
			t.Fatalf("exit code %d: %s", code, errOut)
		}
		if err := json.Unmarshal([]byte(out), &line); err != nil {
			t.Fatal(err)
		}
		return line
	}
	if _, there := read(args...)["published_functions"]; there {
		t.Error("published functions stand there without being asked for")
	}
	var published []struct {
		Name, Authors, Sentence string
		Value                   float64
		Inputs                  []struct {
			Result string
			Value  float64
		}
	}
	line := read(append(args, "--published-functions")...)
	if err := json.Unmarshal(line["published_functions"], &published); err != nil {
		t.Fatal(err)
	}
	var results map[string]struct{ Value float64 }
	if err := json.Unmarshal(line["results"], &results); err != nil {
		t.Fatal(err)
	}
	if len(published) < 10 {
		t.Fatalf("%d published functions of a shot with all channels", len(published))
	}
	for _, p := range published {
		if p.Name == "" || p.Authors == "" || !strings.Contains(p.Sentence, "no medical statement") || p.Value < 0 || p.Value > 1 {
			t.Errorf("%+v", p)
		}
		for _, in := range p.Inputs {
			if in.Value != results[in.Result].Value {
				t.Errorf("%s of %s %g, the result is %g", p.Name, in.Result, in.Value, results[in.Result].Value)
			}
		}
		if _, there := results[p.Name]; there {
			t.Errorf("%s stands among the results", p.Name)
		}
	}
	out, errOut, code := thudbook(t.Context(), t, "score", "--published-functions", "--map", "../../testdata/frontal-9ms.map.toml", "../../testdata/frontal-9ms.csv")
	if code != 0 || strings.Count(out, "published function:") != len(published) || strings.Count(out, "no medical statement") < len(published) {
		t.Errorf("exit code %d, text:\n%s%s", code, out, errOut)
	}
}

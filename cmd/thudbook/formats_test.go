package main

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/format"
	"thudbook/metrics/format/iso13499"
	"thudbook/metrics/format/uff58"
)

// disk is a sink into a folder.
type disk struct{ root string }

func (d disk) Create(name string) (io.WriteCloser, error) {
	path := filepath.Join(d.root, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	return os.Create(path)
}

// A reference signal gives the same results as delimited text, as the folder of
// ISO/TS 13499, by its .mme, and as a Universal File, to the digits that each
// format keeps.
func TestScoreOtherFormats(t *testing.T) {
	const csv, mapFile = "../../testdata/frontal-9ms.csv", "../../testdata/frontal-9ms.map.toml"
	m, err := loadMap(mapFile)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(csv)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := format.Read(t.Context(), f, format.Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if err := iso13499.Write(disk{folder}, &r.Recording, iso13499.Meta{Reference: "front-9"}); err != nil {
		t.Fatal(err)
	}
	universal := filepath.Join(folder, "front-9.uff")
	var b bytes.Buffer
	if err := uff58.Write(&b, &r.Recording, uff58.Meta{}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(universal, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	test := filepath.Join(folder, "front-9")
	want := scoreJSON(t, exitOK, "--map", mapFile, csv)
	if len(want.Results) < 8 {
		t.Fatalf("%d results of the text file", len(want.Results))
	}
	digests := map[string]string{}
	for _, tc := range []struct {
		name, kind, path string
		tolerance        float64
	}{
		{"folder", "iso13499", test, 1e-12},
		{"header", "iso13499", filepath.Join(test, "front-9.mme"), 1e-12},
		{"universal", "uff58", universal, 1e-10},
	} {
		// The map of the text file, its columns named as they stand in the other.
		other := *m
		other.Format, other.Time = chanmap.Format{Kind: tc.kind}, chanmap.Time{}
		other.Channels = append([]chanmap.Channel(nil), m.Channels...)
		for i := range other.Channels {
			other.Channels[i].Axis = strings.TrimPrefix(other.Channels[i].Axis, "-") // applied when it was written
		}
		path := filepath.Join(t.TempDir(), "map.toml")
		var text bytes.Buffer
		if err := chanmap.Encode(&text, other); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		got := scoreJSON(t, exitOK, "--map", path, tc.path)
		digests[tc.name] = got.SHA256
		if got.Error != nil || len(got.Results) != len(want.Results) || got.File != tc.path {
			t.Errorf("%s: error %+v, %d results of %d", tc.name, got.Error, len(got.Results), len(want.Results))
		}
		for name, w := range want.Results {
			if g := got.Results[name]; g.Unit != w.Unit || math.Abs(g.Value-w.Value) > tc.tolerance*math.Abs(w.Value) {
				t.Errorf("%s: %s = %v %s, from text %v %s", tc.name, name, g.Value, g.Unit, w.Value, w.Unit)
			}
		}
		// The proposed map is one that scores the file without a guess.
		proposed, notes, code := thudbook(t.Context(), t, "map", tc.path)
		if code != exitOK || !strings.Contains(proposed, `kind = "`+tc.kind+`"`) {
			t.Fatalf("map %s: exit code %d\n%s%s", tc.name, code, proposed, notes)
		}
		if err := os.WriteFile(path, []byte(proposed), 0o644); err != nil {
			t.Fatal(err)
		}
		if got := scoreJSON(t, exitOK, "--map", path, tc.path); got.flag("map_guessed") || got.Results["peak_linear_acceleration"].Unit != "g" {
			t.Errorf("%s with the proposed map: %+v", tc.name, got)
		}
	}
	if d := digests["folder"]; len(d) != 64 || d != digests["header"] {
		t.Errorf("digests of folder and header differ: %q", digests)
	}
}

func TestScoreOtherFormatsRefused(t *testing.T) {
	empty := t.TempDir()
	if got := scoreJSON(t, exitInput, empty); got.Error == nil || got.Error.Code != "no_data" || !strings.Contains(got.Error.What, ".mme") {
		t.Errorf("a folder that is no test: %+v", got.Error)
	}
	if err := os.WriteFile(filepath.Join(empty, "a.mme"), []byte("Title :x\r\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if got := scoreJSON(t, exitInput, empty); got.Error == nil || got.Error.Code != "no_data" || !strings.Contains(got.Error.What, "channel file") {
		t.Errorf("a test without channels: %+v", got.Error)
	}
	for _, path := range []string{empty, filepath.Join(empty, "not-there.csv")} {
		if out, errOut, code := thudbook(t.Context(), t, "map", path); code != exitInput || out != "" || !strings.Contains(errOut, path) {
			t.Errorf("map %s: exit code %d, %q %q", path, code, out, errOut)
		}
	}
}

// The proposed map carries a baseline window where the record has a quiet start,
// and says in words that it has none where it has not.
func TestMapProposesABaseline(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "short-hard.csv")
	proposed, notes, code := thudbook(t.Context(), t, "map", file)
	if code != exitOK || !strings.Contains(proposed, "baseline_ms = 7.5\n") || !strings.Contains(notes, "baseline_ms = 7.5 is proposed") {
		t.Errorf("exit code %d\n%s%s", code, proposed, notes)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(b), "\n")
	cut := filepath.Join(t.TempDir(), "cut.csv")
	if err := os.WriteFile(cut, []byte(strings.Join(append(lines[:1:1], lines[len(lines)/4:]...), "")), 0o644); err != nil {
		t.Fatal(err)
	}
	proposed, notes, code = thudbook(t.Context(), t, "map", cut)
	if code != exitOK || strings.Contains(proposed, "baseline_ms") || !strings.Contains(notes, "No baseline_ms is proposed") || !strings.Contains(notes, "Set processing.baseline_ms") {
		t.Errorf("without a start: exit code %d\n%s%s", code, proposed, notes)
	}
}

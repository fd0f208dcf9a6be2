package format_test

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
)

func readFile(t *testing.T, path string, m *chanmap.Map) *format.Reading {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := format.Read(t.Context(), f, format.Options{Name: filepath.Base(path), Map: m})
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return r
}

// The same four samples in files of different make, read by guess.
func TestSmallFiles(t *testing.T) {
	deg, g0 := math.Pi/180, 9.80665
	ax, ay, wz := []float64{0.12, -1.5, 98.25, 3}, []float64{-0.5, 0.25, -2, 0}, []float64{12, 300, -4.5, 0}
	for _, tc := range []struct {
		file   string
		ax, wz float64 // factors of the file's units
	}{
		{"latin1-semicolon.txt", 1 / g0, deg},
		{"utf16le-tabs.txt", 1, deg},
		{"comment-header-blanks.txt", 1, 1},
	} {
		r := readFile(t, "testdata/"+tc.file, nil)
		rec := &r.Recording
		if len(r.Faults) > 0 || rec.Uneven || rec.RateHz != 20000 || rec.StartS != 0 || len(rec.Channels) != 3 || r.Rows != 4 {
			t.Errorf("%s: %d rows, %d channels, rate %v, faults %v, unsure %q", tc.file, r.Rows, len(rec.Channels), rec.RateHz, r.Faults, r.Unsure)
			continue
		}
		for i, want := range [][]float64{ax, ay, wz} {
			factor := tc.ax
			if i == 2 {
				factor = tc.wz
			}
			for j, v := range rec.Channels[i].Values {
				if math.Abs(v-want[j]*factor) > 1e-14*math.Abs(v) {
					t.Errorf("%s: channel %s sample %d = %v, want %v", tc.file, rec.Channels[i].Name, j, v, want[j]*factor)
				}
			}
		}
	}
	r := readFile(t, "testdata/broken-cable.csv", nil)
	if len(r.Faults) != 2 || r.Faults[0].Code != fault.BadNumber || r.Faults[0].Line != 3 || r.Faults[0].Channel != "ax" ||
		r.Faults[1].Code != fault.Truncated || r.Faults[1].Line != 5 || r.Rows != 3 {
		t.Errorf("broken cable: %d rows, faults %v", r.Rows, r.Faults)
	}
}

// The reference signals of the project, each by its channel map. What must come
// out is counted from the text here, line by line.
func TestReferenceFiles(t *testing.T) {
	maps, err := filepath.Glob("../../testdata/*.map.toml")
	if err != nil || len(maps) < 4 {
		t.Fatalf("%d channel maps in testdata, %v; want the reference signals' four", len(maps), err)
	}
	for _, path := range maps {
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		m, err := chanmap.Parse(f, filepath.Base(path))
		f.Close()
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		data := strings.TrimSuffix(path, ".map.toml") + ".csv"
		r := readFile(t, data, m)
		if len(r.Faults) > 0 || len(r.Unsure) > 0 || len(r.Recording.Channels) != len(m.Channels) {
			t.Errorf("%s: faults %v, unsure %q", data, r.Faults, r.Unsure)
		}
		if want := lines(t, data) - 1; r.Rows != want {
			t.Errorf("%s: %d rows, the file has %d lines below its header", data, r.Rows, want)
		}
		uneven := strings.Contains(data, "motorcycle")
		if r.Recording.Uneven != uneven {
			t.Errorf("%s: uneven %t, want %t", data, r.Recording.Uneven, uneven)
		}
		if rate := r.Recording.RateHz; !uneven && rate != 20000 && rate != 10000 {
			t.Errorf("%s: rate %v, want 20000 or 10000 exactly", data, rate)
		}
	}
}

func lines(t *testing.T, path string) int {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	n := 0
	for s := bufio.NewScanner(f); s.Scan(); {
		n++
	}
	return n
}

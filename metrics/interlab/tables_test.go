package interlab_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"thudbook/metrics/interlab"
)

const tables = "../../testdata/stat"

func near(t *testing.T, what string, got, want, tol float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g within %g (%s)", what, got, want, tol, source)
	}
}

// levels reads a table of laboratory, level, replicate, value into one level
// per name, in the order of the file.
func levels(t *testing.T, path string) []interlab.Level {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []interlab.Level
	at := map[string]int{}
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		i, ok := at[row[1]]
		if !ok {
			i = len(out)
			at[row[1]] = i
			out = append(out, interlab.Level{Name: row[1]})
		}
		cells := out[i].Cells
		if k := len(cells) - 1; k >= 0 && cells[k].Laboratory == row[0] {
			cells[k].Values = append(cells[k].Values, v)
			continue
		}
		out[i].Cells = append(cells, interlab.Cell{Laboratory: row[0], Values: []float64{v}})
	}
	return out
}

// pairs reads a table of group and value.
func pairs(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join(tables, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	last := ""
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		if row[0] != last {
			out = append(out, nil)
			last = row[0]
		}
		out[len(out)-1] = append(out[len(out)-1], v)
	}
	return out
}

// python runs a script of testdata/stat with Debian's Python and fails when
// scipy is not there.
func python(t *testing.T, script string, cases, results any) {
	t.Helper()
	in, err := json.Marshal(cases)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", filepath.Join(tables, script))
	cmd.Stdin = bytes.NewReader(in)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v (scipy is needed: apt-get install python3-scipy)\n%s", script, err, stderr.Bytes())
	}
	if err := json.Unmarshal(out, results); err != nil {
		t.Fatalf("%s wrote %q: %v", script, out[:min(len(out), 200)], err)
	}
}

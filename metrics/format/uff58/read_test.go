package uff58_test

import (
	"context"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/uff58"
	"thudbook/metrics/signal"
)

// five is a file written by hand after the published layout of dataset 58
// (Structural Dynamics Research Laboratory, University of Cincinnati): real
// single and double, even and uneven, behind datasets 151 and 164, and a
// frequency response that is none of ours.
func five(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile("testdata/five.uff")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func read(t *testing.T, text string) (*uff58.File, error) {
	t.Helper()
	return uff58.Read(t.Context(), strings.NewReader(text), uff58.Options{})
}

func checkFive(t *testing.T, f *uff58.File) {
	t.Helper()
	if len(f.Datasets) != 5 || len(f.Notes) > 0 {
		t.Fatalf("%d datasets, notes %q", len(f.Datasets), f.Notes)
	}
	var skipped []string
	for _, s := range f.Skipped {
		skipped = append(skipped, s.Type)
	}
	if !slices.Equal(skipped, []string{"151", "164"}) {
		t.Errorf("skipped %q", skipped)
	}
	for i, want := range []struct {
		id, dof, axis string
		quantity      signal.Quantity
		unit          string
		even          bool
		start, step   float64
		times, values []float64
	}{
		{"head acceleration x", "12+X", "x", signal.LinearAcceleration, "m/s^2", true, -1e-4, 5e-5, nil, []float64{0, 9.80665, -19.6133, 980.665, 1, -1, 0.25, 0}},
		{"head acceleration y reversed", "12-Y", "-y", signal.LinearAcceleration, "g", true, -1e-4, 5e-5, nil,
			[]float64{0, 1.234567890123, -2.5, 100, -1.234567890123e-101, -12.34567890123, 0.3333333333333, 0}},
		{"head rate z", "12+RZ", "z", signal.AngularVelocity, "deg/s", false, 0, 0,
			[]float64{-1e-4, -5e-5, 0, 5e-5, 1e-4, 1.5e-4, 2e-4, 2.5e-4}, []float64{0, 180, -90, 360, 18, 0, 1, 2}},
		{"tank pressure", "3S", "", signal.Pressure, "bar", false, 0, 0, []float64{0, 0.1, 0.3}, []float64{1.379, 1.38, 1.381}},
		{"frequency response", "12+X", "x", "", "m/s^2", true, 0, 1, nil, nil},
	} {
		d := f.Datasets[i]
		q, why := d.Quantity()
		if d.ID[0] != want.id || d.Names()[3] != want.dof || d.Axis() != want.axis || q != want.quantity || (q == "") != (why != "") || d.Ordinate.Unit != want.unit {
			t.Errorf("dataset %d: %q %q %q %q (%s) unit %q", i+1, d.ID[0], d.Names()[3], d.Axis(), q, why, d.Ordinate.Unit)
		}
		if d.Even != want.even || d.Even && (d.Start != want.start || d.Step != want.step || d.StepDigits != 6) {
			t.Errorf("dataset %d: even %t from %v by %v (%d digits)", i+1, d.Even, d.Start, d.Step, d.StepDigits)
		}
		if diff := cmp.Diff(want.times, d.Times) + cmp.Diff(want.values, d.Values); diff != "" {
			t.Errorf("dataset %d (-written +read):\n%s", i+1, diff)
		}
		if (d.Fault != nil) != (i == 4) {
			t.Errorf("dataset %d: fault %v", i+1, d.Fault)
		}
	}
	if d := f.Datasets[0]; d.ID[1] != "hand-written fixture, no measurement" || d.ID[3] != "" || d.Entity != "HEAD" || d.Abscissa.Type != uff58.Time || d.Abscissa.Label != "Time" {
		t.Errorf("records of dataset 1: %+v", d)
	}
}

func TestRead(t *testing.T) {
	text := five(t)
	for name, text := range map[string]string{
		"as it is":       text,
		"Windows":        strings.ReplaceAll(text, "\n", "\r\n"),
		"filled lines":   strings.ReplaceAll(text, "\n    -1\n", "\n    -1"+strings.Repeat(" ", 74)+"\n"),
		"D for E":        strings.NewReplacer("E+0", "D+0", "E-0", "d-0").Replace(text),
		"blank lines":    strings.ReplaceAll(text, "    -1\n    -1\n", "    -1\n\n    -1\n"),
		"-1 in column 1": strings.ReplaceAll(strings.ReplaceAll(text, "\n    -1\n", "\n-1\n"), "    -1\n   151", "-1\n   151"),
	} {
		t.Run(name, func(t *testing.T) {
			f, err := uff58.Read(t.Context(), iotest.HalfReader(strings.NewReader(text)), uff58.Options{})
			if err != nil {
				t.Fatal(err)
			}
			checkFive(t, f)
		})
	}
	if !uff58.IsFile([]byte(text[:100])) || uff58.IsFile([]byte("-1\n58\n3\n4\n")) || uff58.IsFile([]byte("    -1,5\n")) || uff58.IsFile([]byte("    -1\n0.5123\n")) || uff58.IsFile(nil) {
		t.Error("IsFile is mistaken")
	}
}

// What is wrong with one dataset stands there and leaves the others alone.
func TestDatasetFaults(t *testing.T) {
	const counts = "         2         8         1 -1.00000E-04  5.00000E-05"
	text := five(t)
	line := func(part string) int {
		i := strings.Index(text, part)
		if i < 0 {
			t.Fatalf("%q is not in the file", part)
		}
		return 1 + strings.Count(text[:i], "\n")
	}
	for _, tc := range []struct {
		name, from, to string
		number         int
		code           fault.Code
		at, what       string // at: a part of the line
		values         int
	}{
		{"text among the values", "  9.80665E+02", "         OVER", 1, fault.BadNumber, "9.80665E+02", `"OVER" is no number`, 8},
		{"an overflow of Fortran's", " -1.96133E+01", "*************", 1, fault.BadNumber, "9.80665E+02", "no number", 8},
		{"not finite", "  9.80665E+02", "          NaN", 1, fault.NotFinite, "9.80665E+02", "not finite", 8},
		{"fewer than declared", "\n  2.50000E-01  0.00000E+00", "", 1, fault.Truncated, "  2.50000E-01", "after 6 of 8", 6},
		{"more than declared", "  2.50000E-01  0.00000E+00", "  2.50000E-01  0.00000E+00  1.00000E+00", 1, fault.RowWidth, "  2.50000E-01", "goes on behind its 8", 8},
		{"an impossible count", counts, "         2 1000000000000 1 -1.00000E-04  5.00000E-05", 1, fault.TooLarge, counts, "declares 1000000000000", 0},
		{"a count beyond numbers", counts, "         2 99999999999999999999 1 -1.00000E-04  5.00000E-05", 1, fault.BadNumber, counts, "no number of values", 0},
		{"no values", counts, strings.Replace(counts, "8", "0", 1), 1, fault.NoData, counts, "declares 0", 0},
		{"no increment", counts, strings.Replace(counts, "5.00000E-05", "0.00000E+00", 1), 1, fault.TimeColumn, counts, "increment 0", 0},
		{"complex", counts, strings.Replace(counts, "2", "5", 1), 1, fault.Unreadable, counts, "complex", 0},
		{"data type", counts, strings.Replace(counts, "2", "7", 1), 1, fault.Unreadable, counts, "type 7", 0},
		{"spacing", counts, "         2         8         3 -1.00000E-04  5.00000E-05", 1, fault.BadNumber, counts, `spacing is "3"`, 0},
		{"direction", "HEAD              12   1", "HEAD              12   9", 1, fault.BadNumber, "HEAD              12   1", "direction 9", 0},
		{"frequency", "        17    0    0    0 Time                 s", "        18    0    0    0 Frequency            Hz", 1, fault.TimeColumn, "        17    0", "type 18", 0},
		{"time backwards", " -5.00000E-05  1.80000E+02", " -5.00000E-04  1.80000E+02", 3, fault.TimeBackwards, " -5.00000E-05  1.80000E+02", "runs backwards", 0},
		{"time is text", " -5.00000E-05  1.80000E+02", "         soon  1.80000E+02", 3, fault.TimeColumn, " -5.00000E-05  1.80000E+02", `"soon"`, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if !strings.Contains(text, tc.from) {
				t.Fatalf("%q is not in the file", tc.from)
			}
			f, err := read(t, strings.Replace(text, tc.from, tc.to, 1))
			if err != nil {
				t.Fatal(err)
			}
			if len(f.Datasets) != 5 {
				t.Fatalf("%d datasets", len(f.Datasets))
			}
			d := f.Datasets[tc.number-1]
			if p := d.Fault; p == nil || p.Code != tc.code || p.Line != line(tc.at) || !strings.Contains(p.What, tc.what) || p.Fix == "" || p.Channel != d.ID[0] {
				t.Errorf("fault %+v, want %s at line %d with %q", p, tc.code, line(tc.at), tc.what)
			}
			if len(d.Values) != tc.values {
				t.Errorf("%d values, want %d", len(d.Values), tc.values)
			}
			for i, other := range f.Datasets[:4] {
				if i != tc.number-1 && other.Fault != nil {
					t.Errorf("dataset %d has the fault %v too", i+1, other.Fault)
				}
			}
		})
	}
}

func TestCutShort(t *testing.T) {
	text := five(t)
	from := strings.Index(text, "  1.00000E-01  1.38")
	for name, tc := range map[string]struct {
		keep   string
		number int
		values int
	}{
		"within a number":     {text[:from+len("  1.00000E-01  1.38")], 4, 1},
		"behind a whole line": {text[:from+len("  1.00000E-01  1.380000000000E+00\n")], 4, 2},
		"before the -1":       {text[:strings.Index(text, "1.381000000000E+00\n")+len("1.381000000000E+00\n")], 4, 3},
	} {
		f, err := read(t, tc.keep)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		d := f.Datasets[tc.number-1]
		if d.Fault == nil || d.Fault.Code != fault.Truncated || len(d.Values) != tc.values || len(d.Times) != tc.values {
			t.Errorf("%s: %d values, %v", name, len(d.Values), d.Fault)
		}
	}
	f, err := read(t, text[:strings.Index(text, "head rate z")+30])
	if err != nil || len(f.Datasets) != 3 || f.Datasets[2].Fault == nil || f.Datasets[2].Fault.Code != fault.Truncated {
		t.Errorf("within the records: %+v, %v", f, err)
	}
}

func TestUnusable(t *testing.T) {
	text := five(t)
	for name, tc := range map[string]struct {
		text string
		code fault.Code
		line int
		what string
	}{
		"nothing":         {"", fault.Empty, 0, "empty"},
		"text":            {"t,ax\n0,1\n", fault.Unreadable, 1, "dataset must begin"},
		"binary":          {strings.Replace(text, "    58\n", "    58b     2     2          11          80     0     0           0           0\n", 1), fault.Unreadable, 17, "58b"},
		"others only":     {text[:strings.Index(text, "    -1\n    58")], fault.NoData, 15, "no dataset 58"},
		"text between":    {strings.Replace(text, "    -1\n    -1\n    58", "    -1\nhello\n    -1\n    58", 1), fault.Unreadable, 16, `"hello"`},
		"an endless line": {"    -1\n    58\n" + strings.Repeat("x", 1<<17), fault.TooLarge, 3, "longer than"},
	} {
		f, err := read(t, tc.text)
		p, ok := fault.As(err)
		if !ok || f != nil || p.Code != tc.code || p.Line != tc.line || !strings.Contains(p.What, tc.what) || p.Fix == "" {
			t.Errorf("%s: %+v, want %s at line %d with %q", name, err, tc.code, tc.line, tc.what)
		}
	}
	if _, err := uff58.Read(t.Context(), strings.NewReader(text), uff58.Options{MaxValues: 20}); code(err) != fault.TooLarge {
		t.Errorf("more values than allowed: %v", err)
	}
	f, err := uff58.Read(t.Context(), strings.NewReader(text), uff58.Options{MaxValues: 8, Keep: func(n int, names []string) bool { return names[0] == "head acceleration x" }})
	if err != nil || len(f.Datasets[0].Values) != 8 || f.Datasets[1].Kept {
		t.Errorf("one dataset kept: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := uff58.Read(ctx, strings.NewReader(text), uff58.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	gone := errors.New("share is gone")
	if _, err := uff58.Read(t.Context(), io.MultiReader(strings.NewReader(text[:1000]), iotest.ErrReader(gone)), uff58.Options{}); code(err) != fault.Unreadable || !errors.Is(err, gone) {
		t.Errorf("broken source: %v", err)
	}
}

func code(err error) fault.Code {
	if f, ok := fault.As(err); ok {
		return f.Code
	}
	return ""
}

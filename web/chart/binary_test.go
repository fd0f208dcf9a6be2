package chart_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thudbook/sync/problem"
	"thudbook/web/chart"
)

// What is written comes back: texts and times as they were, values to the
// precision of IEEE 754 single precision.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 50).Draw(t, "samples")
		value := rapid.Custom(func(t *rapid.T) float64 {
			if rapid.IntRange(0, 9).Draw(t, "lost") == 0 {
				return math.NaN()
			}
			return float64(float32(rapid.Float64Range(-1e6, 1e6).Draw(t, "v")))
		})
		tr := chart.Traces{TimeS: make([]float64, n), FromTrigger: rapid.Bool().Draw(t, "from trigger"), Marks: []chart.Mark{{Label: "window", Unit: "g", FromS: 1, ToS: 2}}}
		even := rapid.Bool().Draw(t, "even")
		now := -0.05
		for i := range tr.TimeS {
			tr.TimeS[i] = now
			now += 5e-5
			if !even {
				now += rapid.Float64Range(0, 1e-3).Draw(t, "step")
			}
		}
		for _, name := range []string{"ax", "µ<b>"} {
			c := chart.Channel{Name: name, Label: name, Quantity: "q", Position: "p", Axis: "x", Unit: "g", Class: "CFC 60"}
			c.Raw = rapid.SliceOfN(value, n, n).Draw(t, "raw")
			if name == "ax" {
				c.Filtered = rapid.SliceOfN(value, n, n).Draw(t, "filtered")
			}
			tr.Channels = append(tr.Channels, c)
		}
		var b bytes.Buffer
		if err := chart.EncodeTraces(&b, tr); err != nil {
			t.Fatal(err)
		}
		got, head, err := chart.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(head.Time.Label, "trigger") != tr.FromTrigger || !strings.HasSuffix(head.Time.Label, ", ms") {
			t.Fatalf("from the trigger %v: the axis is %q", tr.FromTrigger, head.Time.Label)
		}
		got.ViewFromS, got.ViewToS = 0, 0
		if d := cmp.Diff(tr, got, cmpopts.EquateNaNs(), cmpopts.EquateEmpty(), cmpopts.EquateApprox(0, 1e-7)); d != "" {
			t.Fatal(d)
		}
	})
}

// Times that are nearly even stay what they are, unless they are within 5e-8 s
// of even ones; a slow record, whose step is long, is no exception.
func TestNearlyEvenTimesAreNotMoved(t *testing.T) {
	for _, step := range []float64{5e-6, 1e-4, 1e-2, 1} {
		for _, off := range []float64{0, 0.2e-3 * step, 0.9e-3 * step, 2e-3 * step, 4e-8, 6e-8, 9e-7} {
			tr := record(101)
			for i := range tr.TimeS {
				tr.TimeS[i] = -0.05 + float64(i)*step
			}
			tr.TimeS[50] += off
			var b bytes.Buffer
			if err := chart.EncodeTraces(&b, tr); err != nil {
				t.Fatal(err)
			}
			got, h, err := chart.Decode(&b)
			if err != nil {
				t.Fatal(err)
			}
			for i, want := range tr.TimeS {
				if d := math.Abs(got.TimeS[i] - want); d > 5.1e-8 {
					t.Errorf("step %g s, sample %d: moved by %g s", step, i, d)
				}
			}
			if want := off < 5e-8 && off < 1e-3*step; (h.Time.Offset == -1) != want {
				t.Errorf("step %g s, one sample %g s late: even %v, want %v", step, off, !want, want)
			}
		}
	}
}

// Data starts at a multiple of eight bytes, so that a browser can lay arrays of
// doubles over it; Float64Array demands it (ECMA-262, TypedArray constructor:
// the offset must be a multiple of the element size).
func TestDataIsAligned(t *testing.T) {
	for extra := range 9 {
		tr := record(3)
		tr.Channels[0].Label = string(bytes.Repeat([]byte("x"), extra))
		var b bytes.Buffer
		if err := chart.EncodeTraces(&b, tr); err != nil {
			t.Fatal(err)
		}
		if n := binary.LittleEndian.Uint32(b.Bytes()[4:]); (8+n)%8 != 0 {
			t.Errorf("data starts at byte %d", 8+n)
		}
	}
}

func FuzzDecode(f *testing.F) {
	var b bytes.Buffer
	if err := chart.EncodeTraces(&b, record(4)); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("TBT1\x02\x00\x00\x00{}"))
	f.Add([]byte("TBT1\x10\x00\x00\x00{\"points\":99999}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tr, head, err := chart.Decode(bytes.NewReader(data))
		if err == nil && tr.Check() != nil && head.Points > 0 {
			t.Errorf("decoded without error, yet %v", tr.Check())
		}
	})
}

func TestServeTraces(t *testing.T) {
	tr := record(10_000)
	tr.Channels[0].Filtered = tr.Channels[0].Raw
	size := func(query string) int {
		w := httptest.NewRecorder()
		if err := chart.ServeTraces(w, httptest.NewRequest("GET", "/x?"+query, nil), tr); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
		return w.Body.Len()
	}
	// One curve of 10 000 samples is 40 000 bytes in single precision; 1200
	// buckets are 2400 values, 9600 bytes, and as many times in double precision.
	if n := size("set=filtered"); n < 40_000 || n > 41_000 {
		t.Errorf("filtered: %d bytes", n)
	}
	if n := size(""); n < 80_000 || n > 81_000 {
		t.Errorf("both: %d bytes", n)
	}
	if n := size("set=filtered&buckets=1200"); n < 9600 || n > 9600+19_200+1000 {
		t.Errorf("buckets: %d bytes", n)
	}
	for _, bad := range []string{"buckets=-1", "buckets=many", "buckets=99999999", "set=all"} {
		err := chart.ServeTraces(httptest.NewRecorder(), httptest.NewRequest("GET", "/x?"+bad, nil), tr)
		if problem.Of(err) != problem.Invalid {
			t.Errorf("%s: %v, want a problem of code invalid", bad, err)
		}
	}
}

package uff58_test

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/uff58"
)

func FuzzRead(f *testing.F) {
	text := five(f)
	f.Add([]byte(text))
	f.Add([]byte(strings.ReplaceAll(text, "\n    -1\n", "\n-1\n")))
	f.Add([]byte("    -1\n    58\n" + strings.Repeat("NONE\n", 5)))
	f.Add([]byte("    -1\n   58b\n"))
	const most = 500
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := uff58.Read(t.Context(), bytes.NewReader(b), uff58.Options{MaxValues: most})
		if err != nil {
			if p, ok := fault.As(err); !ok || p.Code == "" || p.What == "" || p.Fix == "" || file != nil || p.Line == 0 && p.Code != fault.Empty {
				t.Fatalf("error %#v", err)
			}
			return
		}
		total := 0
		for _, d := range file.Datasets {
			total += len(d.Values) + len(d.Times)
			if cap(d.Values) > 4*most || d.Even && d.Times != nil || !d.Even && len(d.Times) != len(d.Values) {
				t.Fatalf("%d values with room for %d, %d times", len(d.Values), cap(d.Values), len(d.Times))
			}
			if p := d.Fault; p != nil && (p.Line == 0 || p.What == "" || p.Fix == "" || p.Channel == "") {
				t.Fatalf("fault without a place: %+v", p)
			}
			for i, v := range d.Values {
				if math.IsInf(v, 0) || math.IsNaN(v) && d.Fault == nil || i > 0 && d.Times != nil && !(d.Times[i] >= d.Times[i-1]) {
					t.Fatalf("value %d of dataset %d is %v, fault %v", i, d.Number, v, d.Fault)
				}
			}
			d.Quantity()
			d.Axis()
		}
		if total > most {
			t.Fatalf("%d numbers, at most %d are allowed", total, most)
		}
	})
}

package iso13499_test

import (
	"bytes"
	"math"
	"testing"
	"testing/fstest"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/iso13499"
)

const fuzzValues = 1000

// checkAny checks what must hold of any outcome.
func checkAny(t *testing.T, f *iso13499.File, err error) {
	t.Helper()
	if err != nil {
		if p, ok := fault.As(err); !ok || p.Code == "" || p.What == "" || p.Fix == "" || f != nil {
			t.Fatalf("error %#v", err)
		}
		return
	}
	total := 0
	for _, c := range f.Channels {
		total += len(c.Values)
		if cap(c.Values) > 4*fuzzValues {
			t.Fatalf("room for %d values of at most %d", cap(c.Values), fuzzValues)
		}
		if c.Fault != nil && (c.Fault.Line == 0 || c.Fault.Channel == "" || c.Fault.Fix == "" || c.Fault.What == "") {
			t.Fatalf("fault without a place: %+v", c.Fault)
		}
		for _, v := range c.Values {
			if math.IsInf(v, 0) || math.IsNaN(v) && c.Fault == nil {
				t.Fatalf("channel %d holds %v, fault %v", c.Number, v, c.Fault)
			}
		}
		if len(c.Values) > 0 && !(c.IntervalS > 0) {
			t.Fatalf("channel %d has values and the interval %v", c.Number, c.IntervalS)
		}
	}
	if total > fuzzValues {
		t.Fatalf("%d values, at most %d are allowed", total, fuzzValues)
	}
}

func FuzzArchive(f *testing.F) {
	for _, deflate := range []bool{false, true} {
		for _, b := range archives(f, shot(f), deflate) {
			f.Add(b)
			f.Add(b[:len(b)/2])
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := iso13499.Read(t.Context(), bytes.NewReader(b), iso13499.Options{MaxValues: fuzzValues})
		checkAny(t, file, err)
	})
}

func FuzzFolder(f *testing.F) {
	m := shot(f)
	for _, n := range []string{"Channel/shot-7.001", "Channel/shot-7.002", "Channel/shot-7.003"} {
		f.Add(m["shot-7.mme"].Data, m["Channel/shot-7.chn"].Data, m[n].Data)
	}
	f.Fuzz(func(t *testing.T, mme, chn, channel []byte) {
		folder := fstest.MapFS{"a.mme": {Data: mme}, "Channel/a.chn": {Data: chn}, "Channel/a.001": {Data: channel}, "Channel/a.002": {Data: channel}}
		file, err := iso13499.ReadFolder(t.Context(), folder, iso13499.Options{MaxValues: fuzzValues})
		checkAny(t, file, err)
	})
}

package format_test

import (
	"io"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/format"
)

// A file far over the limit is given up once the limit is reached, and memory
// follows the kept columns, not the file: 20 million values are 160 MB.
func TestMemoryFollowsKeptColumns(t *testing.T) {
	if testing.Short() {
		t.Skip("reads a stream of some 60 MB")
	}
	const limit = 900_000 // values: 7.2 MB
	text := strings.Repeat("x", 3000)
	var most atomic.Uint64
	src := &rows{n: 3_000_000, at: func(i int) {
		if i%100_000 == 0 {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most.Store(max(most.Load(), m.HeapAlloc))
		}
	}}
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := format.Read(t.Context(), io.MultiReader(strings.NewReader(text+"\nt,ax,wz\n"), src), format.Options{Map: rigMap(), MaxSamples: limit})
	f, ok := fault.As(err)
	if !ok || f.Code != fault.TooLarge || f.Line != limit/3+3 {
		t.Fatalf("Read = %v, want too_large at line %d", err, limit/3+3)
	}
	if src.i > limit/3+100_000 {
		t.Errorf("%d rows were taken from the source for a limit of %d", src.i, limit/3)
	}
	grown := int64(most.Load()) - int64(before.HeapAlloc)
	if allowed := int64(limit*8*3 + 8<<20); grown > allowed {
		t.Errorf("the heap grew by %d bytes, allowed %d", grown, allowed)
	}
}

// Columns that the map does not bind cost no memory.
func TestUnboundColumnsAreNotKept(t *testing.T) {
	const n = 200_000
	m := rigMap()
	m.Channels = m.Channels[:1]
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	r, err := format.Read(t.Context(), io.MultiReader(strings.NewReader("t,ax,wz\n"), &rows{n: n}), format.Options{Map: m, Size: n * 20})
	if err != nil || r.Rows != n {
		t.Fatal(err)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	// The times are even and not kept either: one column of 8 bytes a value.
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > n*8*3/2 {
		t.Errorf("the reading holds %d bytes, want about %d", grown, n*8)
	}
	runtime.KeepAlive(r)
}

package format_test

import (
	"bytes"
	"fmt"
	"io"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
)

// generated is a stream of rows that no disk holds: a header, then the same
// block of lines again and again.
type generated struct {
	header, block []byte
	blocks        int
	at            int    // block, -1 for the header
	off           int    // in it
	each          func() // at the end of a block
}

func (g *generated) Read(p []byte) (int, error) {
	src := g.block
	if g.at < 0 {
		src = g.header
	}
	if g.at >= g.blocks {
		return 0, io.EOF
	}
	n := copy(p, src[g.off:])
	g.off += n
	if g.off == len(src) {
		g.at, g.off = g.at+1, 0
		if g.each != nil {
			g.each()
		}
	}
	return n, nil
}

// liveHeap is what the heap holds after a collection.
func liveHeap() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// Ten million rows of a narrow file are read as a stream: the heap holds the
// column that is used, room to grow it, and a block of the file.
func TestTenMillionRows(t *testing.T) {
	if testing.Short() {
		t.Skip("reads ten million rows")
	}
	const perBlock, blocks = 1000, 10_000
	var block strings.Builder
	for i := range perBlock {
		fmt.Fprintf(&block, "%d.5,x%d\n", i-500, i%10)
	}
	m := &chanmap.Map{Time: chanmap.Time{RateHz: 20000}, Channels: []chanmap.Channel{{Column: "ax", Measures: "linear acceleration", Axis: "x", Unit: "g"}}}
	before := liveHeap()
	most := int64(0)
	src := &generated{header: []byte("ax,note\n"), block: []byte(block.String()), blocks: blocks, at: -1}
	src.each = func() {
		if src.at%1000 == 999 {
			most = max(most, liveHeap()-before)
		}
	}
	r, err := format.Read(t.Context(), src, format.Options{Map: m, MaxSamples: perBlock * blocks})
	if err != nil || len(r.Faults) > 0 || r.Rows != perBlock*blocks {
		t.Fatalf("%+v %v", r, err)
	}
	values := r.Recording.Channels[0].Values
	for i, v := range values {
		if v != float64(i%perBlock-500)+sign(i%perBlock-500)*0.5 {
			t.Fatalf("row %d is %v", i+1, v)
		}
	}
	column := int64(perBlock * blocks * 8)
	if allowed := column*3/2 + 4<<20; most > allowed {
		t.Errorf("the heap grew by %d bytes, allowed %d for a column of %d", most, allowed, column)
	}
	if most < column/2 {
		t.Errorf("the heap grew by %d bytes only: the measurement is wrong", most)
	}
	runtime.KeepAlive(r)

	src = &generated{header: []byte("ax,note\n"), block: []byte(block.String()), blocks: blocks, at: -1}
	_, err = format.Read(t.Context(), src, format.Options{Map: m, MaxSamples: 100_000})
	if f, ok := fault.As(err); !ok || f.Code != fault.TooLarge || f.Line != 100_002 || src.at > 200 {
		t.Errorf("limit of 100 000 rows: %v after %d blocks", err, src.at)
	}
}

// sign is that of the whole number before the .5: "-3.5" is -3.5, "0.5" is 0.5.
func sign(n int) float64 {
	if n < 0 {
		return -1
	}
	return 1
}

// A file of 64 channels: all of them, and memory for those that are used.
func TestSixtyFourChannels(t *testing.T) {
	const perBlock, blocks, channels = 100, 200, 64
	header := "t [ms]"
	m := &chanmap.Map{Time: chanmap.Time{Column: "t", Unit: "ms"}}
	for c := range channels {
		header += fmt.Sprintf(";c%d [g]", c)
		m.Channels = append(m.Channels, chanmap.Channel{Column: fmt.Sprintf("c%d", c), Measures: "linear acceleration", Axis: "x", Unit: "g"})
	}
	var text bytes.Buffer
	fmt.Fprintln(&text, header)
	for i := range perBlock * blocks {
		fmt.Fprintf(&text, "%d,%02d", i/20, i%20*5)
		for c := range channels {
			fmt.Fprintf(&text, ";%d,%d", c-32, i%7+1)
		}
		text.WriteByte('\n')
	}
	for _, used := range []int{channels, 3} {
		some := *m
		some.Channels = m.Channels[:used]
		before := liveHeap()
		r, err := format.Read(t.Context(), bytes.NewReader(text.Bytes()), format.Options{Map: &some})
		if err != nil || len(r.Faults) > 0 || r.Rows != perBlock*blocks || len(r.Recording.Channels) != used || r.Recording.RateHz != 20000 {
			t.Fatalf("%d used: %v", used, err)
		}
		for c, ch := range r.Recording.Channels {
			var want [7]float64
			for i := range want {
				if want[i], err = strconv.ParseFloat(fmt.Sprintf("%d.%d", c-32, i+1), 64); err != nil {
					t.Fatal(err)
				}
			}
			for i, v := range ch.Values {
				if v != want[i%7] {
					t.Fatalf("channel %d row %d is %v, want %v", c, i+1, v, want[i%7])
				}
			}
		}
		held := liveHeap() - before
		if allowed := int64((used+1)*perBlock*blocks*8*5/4 + 2<<20); held > allowed {
			t.Errorf("%d used: the heap holds %d bytes, allowed %d", used, held, allowed)
		}
		runtime.KeepAlive(r)
	}
}

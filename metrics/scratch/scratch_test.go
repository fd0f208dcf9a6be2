package scratch_test

import (
	"sync"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/scratch"
)

// Whatever is asked for comes in the length asked for, at most an eighth larger
// inside, and never twice at a time.
func TestLoans(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		var held [][]float64
		for i, n := range rapid.SliceOfN(rapid.IntRange(0, 5000), 1, 40).Draw(r, "sizes") {
			v := scratch.Floats(n)
			if len(v) != n || cap(v) > n+n/8+8 {
				r.Fatalf("asked for %d, got %d of %d", n, len(v), cap(v))
			}
			for k := range v {
				v[k] = float64(i)
			}
			held = append(held, v)
			if n%3 == 0 {
				scratch.Free(v)
				held[i] = nil
			}
		}
		for i, v := range held {
			for _, x := range v {
				if x != float64(i) {
					r.Fatalf("loan %d was given to somebody else", i)
				}
			}
		}
		scratch.Free(held...)
	})
}

// A loan of the same size needs no new memory.
func TestNoAllocation(t *testing.T) {
	scratch.Free(scratch.Floats(10_000))
	bytes := testing.Benchmark(func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			scratch.Free(scratch.Floats(10_000))
		}
	}).AllocedBytesPerOp()
	if bytes > 45_000 { // the race detector drops some on purpose
		t.Errorf("%d bytes for each loan of 80 kB", bytes)
	}
}

// Memory of a size that is never lent, given by mistake, is not lent on.
func TestForeignMemory(t *testing.T) {
	own := make([]float64, 1001) // no size of a loan
	scratch.Free(own, own[:5:5], nil)
	for range 10 {
		v := scratch.Floats(1001)
		v[0] = 1
	}
	if own[0] != 0 {
		t.Error("memory that was not lent was handed out")
	}
}

func TestConcurrentUse(t *testing.T) {
	var wait sync.WaitGroup
	for g := range 4 {
		wait.Go(func() {
			for i := range 500 {
				v := scratch.Floats(100 + i%7*100)
				for k := range v {
					v[k] = float64(g)
				}
				for _, x := range v {
					if x != float64(g) {
						t.Errorf("%d holds %g", g, x)
						return
					}
				}
				scratch.Free(v)
			}
		})
	}
	wait.Wait()
}

// Package scratch lends memory for samples. Scoring one shot needs some hundred
// columns of the same length as the shot before it; lending them saves the time of
// fetching fresh memory from the system, which is more than that of the computation.
//
// It is safe for concurrent use. What is not given back is left to the garbage
// collector, so forgetting Free costs time only.
package scratch

import (
	"math/bits"
	"sync"
)

// steps is the number of sizes between a power of two and the next: a loan is at
// most an eighth larger than asked for.
const steps = 8

// largest is the number of values in the largest loan that is kept, 8 MiB: beyond,
// memory that waits costs more than it saves.
const largest = 1 << 20

// shelves hold what came back, by size. A sync.Pool hands out nothing that is
// still in use and empties itself, so no caller can observe the state of another.
var shelves [21 * steps]sync.Pool

// shelf gives the size that n values are rounded up to, and where it is kept.
func shelf(n int) (size, index int) {
	shift := max(bits.Len(uint(n-1))-bits.Len(steps-1)-1, 0)
	eighths := (n + 1<<shift - 1) >> shift // steps to 2·steps
	return eighths << shift, shift*steps + eighths&(steps-1)
}

// Floats lends n values. What they hold is not defined.
func Floats(n int) []float64 {
	if n <= steps || n > largest {
		return make([]float64, n)
	}
	size, index := shelf(n)
	if v, ok := shelves[index].Get().(*[]float64); ok {
		return (*v)[:n]
	}
	return make([]float64, size)[:n]
}

// Free takes back what Floats lent, whole; nobody may use it any more. Memory of a
// size that is never lent is left alone.
func Free(loans ...[]float64) {
	for _, v := range loans {
		n := cap(v)
		if n <= steps || n > largest {
			continue
		}
		if size, index := shelf(n); size == n {
			v = v[:n]
			shelves[index].Put(&v)
		}
	}
}

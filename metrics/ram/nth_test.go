package ram

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestNth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64(), 1, 200).Draw(t, "v")
		if rapid.Bool().Draw(t, "few levels") {
			for i := range v {
				v[i] = float64(int(v[i]) % 3)
			}
		}
		k := rapid.IntRange(0, len(v)-1).Draw(t, "k")
		sorted := slices.Sorted(slices.Values(v))
		if got := nth(v, k); got != sorted[k] {
			t.Fatalf("nth(%d) = %v, want %v", k, got, sorted[k])
		}
		if !slices.Equal(slices.Sorted(slices.Values(v)), sorted) {
			t.Fatal("values were lost")
		}
	})
}

// kth agrees with sorting, for values from 1e-300 to 1e300 and for few levels.
func TestKth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64(), spikeSamples+1, 200).Draw(t, "v")
		switch rapid.IntRange(0, 2).Draw(t, "kind") {
		case 0:
			for i := range v {
				v[i] = float64(int(math.Mod(v[i], 3)))
			}
		case 1:
			for i := range v {
				v[i] = math.Mod(v[i], 10)
			}
		}
		k := rapid.IntRange(0, len(v)-1).Draw(t, "k")
		sorted, n := slices.Sorted(slices.Values(v)), len(v)
		if got := kth(v, k, sorted[0], sorted[n-1], make([]float64, n)); got != sorted[k] {
			t.Fatalf("kth(%d) = %v, want %v", k, got, sorted[k])
		}
		low, high := ends(v)
		for i := range low {
			if low[i] != sorted[i] || high[i] != sorted[n-1-i] {
				t.Fatalf("ends %v and %v of %v", low, high, sorted)
			}
		}
	})
}

package ram

import (
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

package desk

import "testing"

func TestEstimatesLookLikeEstimates(t *testing.T) {
	for n, want := range map[int64]int64{0: 0, 7: 7, 99: 99, 128: 120, 21_437: 21_000, 1_999_999: 1_900_000} {
		if got := rounded(n); got != want {
			t.Errorf("rounded(%d) = %d, want %d", n, got, want)
		}
	}
}

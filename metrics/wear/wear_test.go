package wear_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"thudbook/metrics/wear"
)

// Expected values: scipy 1.10, t*betaprime.ppf(p, L/phi, k/phi + 0.5).
func TestUntilAgainstScipy(t *testing.T) {
	for _, c := range []struct {
		left, strokes     int64
		days              float64
		low, median, high float64
	}{
		{140, 1300, 91, 8.4188618189033, 9.775423623978892, 11.285368160259416},
		{1, 10, 30, 0.14691081274009118, 2.0472507244320695, 9.905143175835464},
		{5000, 3, 14, 9947.76066076607, 22060.31273707506, 64604.16254957202},
	} {
		f, err := wear.Until(c.left, wear.Use{Days: c.days, Strokes: c.strokes}, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		for what, v := range map[string][2]float64{"low": {f.Low, c.low}, "median": {f.Median, c.median}, "high": {f.High, c.high}, "rate": {f.PerDay, float64(c.strokes) / c.days}} {
			if math.Abs(v[0]/v[1]-1) > 1e-9 {
				t.Errorf("%d left after %d in %g days: %s = %v, want %v", c.left, c.strokes, c.days, what, v[0], v[1])
			}
		}
	}
}

// By hand: seven weeks with 100, 120, 0, 80, 140, 100 and 60 strokes have the
// mean 600/7 and the sum of squares 64000, so the variance
// (64000 − 600²/7)/6 = 2095.238 and φ = 24.444. With it 600 strokes in 49 days
// count as 24.545 events: the median hardly moves, the interval is much wider.
func TestUnevenUseWidens(t *testing.T) {
	weeks := []int64{100, 120, 0, 80, 140, 100, 60}
	if got := wear.Dispersion(weeks); math.Abs(got-24.4444444444) > 1e-9 {
		t.Errorf("dispersion %v, want 24.444", got)
	}
	if got := wear.Dispersion(weeks[:3]); got != 1 {
		t.Errorf("three weeks give %v; that few say nothing", got)
	}
	if got := wear.Dispersion([]int64{10, 10, 10, 10}); got != 1 {
		t.Errorf("more even than chance gives %v, want 1", got)
	}
	u := wear.Use{Days: 49, Strokes: 600}
	even, err := wear.Until(120, u, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	u.Weeks = weeks
	uneven, err := wear.Until(120, u, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if ratio := (uneven.High - uneven.Low) / (even.High - even.Low); ratio < 4 || ratio > 7 {
		t.Errorf("the interval widens by %g, want about the root of 24.4", ratio)
	}
}

func TestNoForecast(t *testing.T) {
	if _, err := wear.Until(10, wear.Use{Days: 6, Strokes: 50}, 0.9); !errors.Is(err, wear.ErrShort) {
		t.Errorf("six days: %v", err)
	}
	if _, err := wear.Until(10, wear.Use{Days: math.NaN(), Strokes: 50}, 0.9); !errors.Is(err, wear.ErrShort) {
		t.Errorf("no days: %v", err)
	}
	if _, err := wear.Until(10, wear.Use{Days: 60}, 0.9); !errors.Is(err, wear.ErrIdle) {
		t.Errorf("idle: %v", err)
	}
	if f, err := wear.Until(-3, wear.Use{Days: 60, Strokes: 5}, 0.9); err != nil || f.High != 0 {
		t.Errorf("overdue: %+v, %v; want now", f, err)
	}
}

// coverage simulates histories of 91 days and the time until left more strokes,
// and gives the share of intervals that hold it. Strokes come in series of
// batch at the times of a Poisson process.
func coverage(t *testing.T, perDay float64, batch int, left int64, probability float64) float64 {
	t.Helper()
	const rounds, days = 4000, 91
	rng := rand.New(rand.NewPCG(20260302, uint64(batch)))
	in, tried := 0, 0
	for range rounds {
		u := wear.Use{Days: days, Weeks: make([]int64, days/7)}
		at := 0.0
		for {
			if at += rng.ExpFloat64() * float64(batch) / perDay; at >= days {
				break
			}
			u.Strokes += int64(batch)
			u.Weeks[int(at/7)] += int64(batch)
		}
		if batch == 1 {
			u.Weeks = nil
		}
		f, err := wear.Until(left, u, probability)
		if errors.Is(err, wear.ErrIdle) {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		tried++
		at = 0
		for done := int64(0); done < left; done += int64(batch) {
			at += rng.ExpFloat64() * float64(batch) / perDay
		}
		if f.Low <= at && at <= f.High {
			in++
		}
	}
	return float64(in) / float64(tried)
}

// The interval holds what it promises when strokes are a Poisson process, and
// nearly so when they come in series. With 4000 rounds the standard error of
// the share is 0.5 %; the seed is fixed.
func TestCoverageOfSimulatedUse(t *testing.T) {
	for _, c := range []struct {
		perDay   float64
		batch    int
		left     int64
		from, to float64
	}{
		{1, 1, 30, 0.885, 0.915},
		{12, 1, 140, 0.885, 0.915},
		{0.2, 1, 3, 0.885, 0.925}, // few strokes: the prior shows
		{20, 25, 500, 0.84, 0.93}, // in series: φ is itself known only from thirteen weeks
	} {
		if got := coverage(t, c.perDay, c.batch, c.left, 0.9); got < c.from || got > c.to {
			t.Errorf("%g a day in series of %d, %d left: the interval holds the truth in %.3f of cases, want %g to %g", c.perDay, c.batch, c.left, got, c.from, c.to)
		}
	}
}

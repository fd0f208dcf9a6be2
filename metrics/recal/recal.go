// Package recal advises on the interval between two calibrations from how an
// item drifted over the past ones.
//
// It is the automatic adjustment of calendar time ("staircase"), method 1 of
// ILAC-G24:2022 / OIML D 10:2022: an item that stayed well within its limit twice
// may wait longer, one that left it must come sooner. The 80 % of the
// limit that counts as well within may be the document's own example (from memory,
// not confirmed against print); factors and bounds are our own choice. It is advice: the
// law, the maker and the lab's own plan go first.
package recal

import "math"

// Found is what one calibration found.
type Found struct {
	Days          float64 // since the calibration before, > 0
	ChangePercent float64 // of the sensitivity before, as found
	LimitPercent  float64 // of the change, > 0
}

// share is the change over its limit.
func (f Found) share() float64 { return math.Abs(f.ChangePercent) / f.LimitPercent }

// Constants of the staircase.
const (
	WellWithin = 0.8  // of the limit
	Longer     = 1.25 // factor after two calibrations well within
	Shorter    = 0.6  // factor after one outside
	MinDays    = 30
	MaxDays    = 5 * 365
)

// Reason says why an interval is advised.
type Reason string

// The reasons.
const (
	TooFew  Reason = "too few calibrations"
	Kept    Reason = "within the limit"
	Longed  Reason = "twice well within the limit"
	Shorted Reason = "outside the limit"
)

// Advice is what the next interval could be.
type Advice struct {
	Reason  Reason
	Days    float64 // 0: no advice
	Share   float64 // of the limit that the last change used up
	Clipped bool    // held at MinDays or MaxDays
	// PerYearPercent is the mean drift of the sensitivity over all calibrations, with
	// its sign; NaN with fewer than two.
	PerYearPercent float64
	// ToLimitDays is how long that drift takes to the last limit; +Inf without drift.
	ToLimitDays float64
}

// Next advises on the interval that follows the last of the calibrations, oldest
// first. Those with a limit or an interval that is not above zero are left out.
func Next(all []Found) Advice {
	var ok []Found
	for _, f := range all {
		if f.Days > 0 && f.LimitPercent > 0 && !math.IsNaN(f.ChangePercent) {
			ok = append(ok, f)
		}
	}
	a := Advice{Reason: TooFew, PerYearPercent: math.NaN(), ToLimitDays: math.Inf(1)}
	if len(ok) == 0 {
		return a
	}
	last := ok[len(ok)-1]
	a.Share = last.share()
	if len(ok) >= 2 {
		a.drift(ok)
	}
	factor := 1.0
	switch {
	case a.Share > 1:
		a.Reason, factor = Shorted, Shorter
	case len(ok) < 2:
		return a
	case a.Share <= WellWithin && ok[len(ok)-2].share() <= WellWithin:
		a.Reason, factor = Longed, Longer
	default:
		a.Reason = Kept
	}
	days := last.Days * factor
	a.Days = math.Min(math.Max(days, MinDays), MaxDays)
	a.Clipped = a.Days != days
	return a
}

// drift takes the changes together as one course over the days that they took.
func (a *Advice) drift(ok []Found) {
	days, ratio := 0.0, 1.0
	for _, f := range ok {
		days += f.Days
		ratio *= 1 + f.ChangePercent/100
	}
	a.PerYearPercent = 100 * (math.Pow(ratio, 365.25/days) - 1)
	if a.PerYearPercent != 0 {
		a.ToLimitDays = 365.25 * ok[len(ok)-1].LimitPercent / math.Abs(a.PerYearPercent)
	}
}

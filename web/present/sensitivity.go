package present

import (
	"fmt"
	"html/template"
	"math"
	"time"

	"thudbook/metrics/recal"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/chart"
	"thudbook/web/page"
)

// monthDays is the mean length of a month.
const monthDays = 365.25 / 12

// SensitivityChart draws what the certificates of an item say of its
// sensitivity, newest first: as found and as left with their expanded
// uncertainties, and within which limits each was expected. note says what is
// left out. It is empty with fewer than two in one unit.
func SensitivityChart(all []view.CalibrationRow) (drawn template.HTML, note string) {
	var used []*lab.Calibration
	unit, left := "", 0
	for i := len(all) - 1; i >= 0; i-- { // oldest first
		k := &all[i].Calibration
		if k.Sensitivity == nil || unit != "" && lab.Fold(k.SensitivityUnit) != lab.Fold(unit) {
			left++
			continue
		}
		unit = k.SensitivityUnit
		used = append(used, k)
	}
	if len(used) < 2 {
		return "", ""
	}
	months := func(k *lab.Calibration) float64 {
		return float64(k.EffectiveAt-used[0].EffectiveAt) / float64((24 * time.Hour).Milliseconds()) / monthDays
	}
	asLeft, asFound := chart.Series{Label: "as left"}, chart.Series{Label: "as found"}
	whiskers, low, high := line("expanded uncertainty"), line("limits of the change, lower"), line("upper")
	whiskers.Dash, low.Dash, high.Dash = "z", "y", "y"
	whisker := func(x, y float64, percent *float64) {
		if percent == nil {
			return
		}
		u := y * *percent / 100
		whiskers.X, whiskers.Y = append(whiskers.X, x, x, math.NaN()), append(whiskers.Y, y-u, y+u, math.NaN())
	}
	for i, k := range used {
		x := months(k)
		asLeft.X, asLeft.Y = append(asLeft.X, x), append(asLeft.Y, *k.Sensitivity)
		whisker(x, *k.Sensitivity, k.ExpandedUncertaintyPercent)
		if i == 0 {
			continue
		}
		f, ok := k.AsFound(used[i-1])
		if !ok {
			continue
		}
		asFound.X, asFound.Y = append(asFound.X, x), append(asFound.Y, f.Sensitivity)
		was, band := *used[i-1].Sensitivity, math.Abs(*used[i-1].Sensitivity)*f.LimitPercent/100
		low.X, low.Y = append(low.X, months(used[i-1]), x, math.NaN()), append(low.Y, was-band, was-band, math.NaN())
		high.X, high.Y = append(high.X, months(used[i-1]), x, math.NaN()), append(high.Y, was+band, was+band, math.NaN())
	}
	if left > 0 {
		note = Count(int64(left), "certificate", "certificates") + " without a sensitivity, or in another unit, left out."
	}
	first, _ := used[0].Days()
	return chart.Scatter{XLabel: "months since " + first.String(), Unit: unit, Series: []chart.Series{asLeft, asFound, whiskers, low, high}}.HTML(), note
}

// Advice says in words what the drift of an item's sensitivity advises for its
// next interval; certificates are newest first.
func Advice(all []view.CalibrationRow) *page.IntervalAdvice {
	var found []recal.Found
	for i := len(all) - 1; i > 0; i-- {
		now, before := &all[i-1].Calibration, &all[i].Calibration
		f, ok := now.AsFound(before)
		if !ok || f.Explained { // the advice rests on limits that the lab has set
			continue
		}
		days := float64(now.EffectiveAt-before.EffectiveAt) / float64((24 * time.Hour).Milliseconds())
		found = append(found, recal.Found{Days: days, ChangePercent: f.ChangePercent, LimitPercent: f.LimitPercent})
	}
	a := recal.Next(found)
	out := &page.IntervalAdvice{}
	if !math.IsNaN(a.PerYearPercent) {
		out.Drift = fmt.Sprintf("Over all calibrations the sensitivity drifted by %s a year.", signed(a.PerYearPercent))
		if days := a.ToLimitDays; !math.IsInf(days, 1) {
			out.Drift += " At that rate the limit is reached after " + Count(int64(math.Round(days)), "day", "days") + "."
		}
	}
	share := fmt.Sprintf("The last calibration found %.0f %% of the limit used up.", 100*a.Share)
	switch a.Reason {
	case recal.TooFew:
		out.Text = "No advice yet."
		out.Why = "It takes two comparisons of a value as found with the one before, each with a largest accepted change that was entered."
		if len(found) > 0 {
			out.Why = share + " " + out.Why
		}
		return out
	case recal.Shorted:
		out.Text, out.Why = "Shorter", share+" An interval that ends outside the limit is followed by one of 60 %."
	case recal.Longed:
		out.Text, out.Why = "Longer", share+" Two in turn that used up 80 % or less may be followed by one of 125 %."
	default:
		out.Text, out.Why = "As it was", share+" Neither outside the limit nor twice well within it."
	}
	out.Text = fmt.Sprintf("%s: %s after the last calibration (the last interval was %s).", out.Text, Count(int64(math.Round(a.Days)), "day", "days"), Count(int64(math.Round(found[len(found)-1].Days)), "day", "days"))
	if a.Clipped {
		out.Why += fmt.Sprintf(" Advice stays between %d and %d days.", recal.MinDays, recal.MaxDays)
	}
	return out
}

func signed(percent float64) string {
	return Change(&lab.FoundState{ChangePercent: percent})
}

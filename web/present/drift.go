package present

import (
	"fmt"
	"math"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
	"thudbook/sync/lab"
	"thudbook/sync/speed"
	"thudbook/web/chart"
	"thudbook/web/page"
)

// Aim is a target speed with its tolerance, to say when a trend leaves it.
type Aim struct{ SpeedMS, ToleranceMS float64 }

// Drift draws what a ram's speed did since its last service, and says it in words.
func Drift(p *page.Drift, d *speed.Drift, aim *Aim, in string) {
	unit := in
	if unit == "" {
		unit = "kPa"
	}
	var x, v, nth []float64
	for _, q := range d.Pairs {
		x, v, nth = append(x, inUnit(q.PressureKPa, "kPa", unit)), append(v, q.SpeedMS), append(nth, float64(q.Stroke))
	}
	fit, low, high := line("fit"), line("95 % of shots"), line("")
	for i := range 41 {
		kpa := d.Curve.Line.MinX + (d.Curve.Line.MaxX-d.Curve.Line.MinX)*float64(i)/40
		s, err := d.Curve.Speed(kpa, speed.Level)
		if err != nil {
			continue
		}
		at := inUnit(kpa, "kPa", unit)
		for k, r := range []*chart.Series{&fit, &low, &high} {
			r.X, r.Y = append(r.X, at), append(r.Y, []float64{s.Value, s.Low, s.High}[k])
		}
	}
	low.Dash, high.Dash, high.Label = "z", "z", "95 % of shots, upper"
	low.Label += ", lower"
	p.Fit = chart.Scatter{XLabel: "tank pressure, " + unit + " gauge", Unit: "m/s", Series: []chart.Series{{Label: "shots", X: x, Y: v}, fit, low, high}}.HTML()
	p.FitText = fmt.Sprintf("Speed over pressure of %d shots, with the fitted curve", len(x))
	res := chart.Scatter{XLabel: "stroke since the service", Counts: true, Unit: "m/s", Series: []chart.Series{{Label: "measured less predicted", X: nth, Y: d.Residual}}}
	p.NoCharts = d.NoCharts
	if d.NoCharts == "" {
		z, lo, hi := line("moving average (EWMA)"), line("its limits, lower"), line("upper")
		up, down, limit := line("upward"), line("downward"), line("limit")
		lo.Dash, hi.Dash, limit.Dash = "y", "y", "y"
		for i, e := range d.EWMA {
			z.X, z.Y, lo.Y, hi.Y = append(z.X, nth[i]), append(z.Y, e.Z), append(lo.Y, e.Low), append(hi.Y, e.High)
			up.Y, down.Y, limit.Y = append(up.Y, d.CUSUM[i].High), append(down.Y, d.CUSUM[i].Low), append(limit.Y, speed.LimitCUSUM)
		}
		lo.X, hi.X, up.X, down.X, limit.X = z.X, z.X, z.X, z.X, z.X
		res.Series = append(res.Series, z, lo, hi)
		p.CUSUM = chart.Scatter{XLabel: "stroke since the service", Counts: true, Unit: "standard deviations", Series: []chart.Series{up, down, limit}}.HTML()
	}
	p.Residual = res.HTML()
	p.Words = append(signals(d), trend(d, aim)...)
}

func line(label string) chart.Series { return chart.Series{Label: label, Line: true} }

// signals says what the control charts show now.
func signals(d *speed.Drift) []page.Notice {
	if d.NoCharts != "" {
		return nil
	}
	last := len(d.EWMA) - 1
	e, c := d.EWMA[last].Signal, d.CUSUM[last].Signal
	if e == ram.InControl && c == ram.InControl {
		return []page.Notice{{Level: page.OK, Text: "Both control charts are within their limits: the speed at a given pressure is as it was."}}
	}
	side := e
	if side == ram.InControl {
		side = c
	}
	word := map[ram.Signal]string{ram.Up: "faster", ram.Down: "slower"}[side]
	off := math.Abs(d.EWMA[last].Z - d.Baseline.Target)
	return []page.Notice{{Level: page.Warn, Text: fmt.Sprintf("The ram has become %s at a given pressure: by about %.2f m/s against its first shots since the service.", word, off),
		Fix: "Look at seals, valve, gauge and light gate before more shots; a pressure proposed from all shots since the service is off by as much."}}
}

// scatter says, where no trend can be told, how many shots lie farther than the
// tolerance from the speed that the curve gives for their pressure.
func scatter(residual []float64, toleranceMS float64, what string) page.Notice {
	beyond, most := int64(0), 0.0
	for _, r := range residual {
		if off := math.Abs(r); lab.MillimetresPerSecond(off) > lab.MillimetresPerSecond(toleranceMS) {
			beyond, most = beyond+1, max(most, off)
		}
	}
	if beyond == 0 {
		return page.Notice{Level: page.OK, Text: "No trend can be told from the scatter, and every shot lies within the tolerance of " + what + " around the speed that the curve gives for its pressure."}
	}
	return page.Notice{Level: page.Warn, Text: fmt.Sprintf("No trend can be told from the scatter, and the scatter itself is wider than the tolerance of %s: %s of %s farther than that from the speed that the curve gives for its pressure, the farthest by %.2f m/s.",
		what, page.ShowCount(beyond), Count(int64(len(residual)), "shot lies", "shots lie"), most), Fix: "Look at those shots in the chart below: was the pressure typed as it was set, and did the light gate see the flag?"}
}

// trend says when the speed will have left the tolerance.
func trend(d *speed.Drift, aim *Aim) []page.Notice {
	if d.NoTrend != "" {
		return []page.Notice{{Text: "No trend is computed: " + d.NoTrend}}
	}
	if aim == nil || aim.ToleranceMS <= 0 {
		return []page.Notice{{Text: "No campaign says a target speed with a tolerance, so it is not said when a trend leaves it."}}
	}
	what := fmt.Sprintf("%.2f ± %.2f m/s", aim.SpeedMS, aim.ToleranceMS)
	in, err := d.Trend.Leaves(aim.SpeedMS, aim.ToleranceMS, speed.Level)
	if err != nil {
		if f, ok := fault.As(err); ok && f.Code == ram.NoTrend {
			return []page.Notice{scatter(d.Residual, aim.ToleranceMS, what)}
		}
		return []page.Notice{{Text: err.Error()}}
	}
	word := "loses"
	if d.Trend.PerStroke > 0 {
		word = "gains"
	}
	done := d.Trend.Last - d.Trend.First
	between := fmt.Sprintf("%s and %s", page.ShowCount(int64(in.Low)), page.ShowCount(int64(in.High)))
	n := page.Notice{Level: page.Plain, Text: fmt.Sprintf("The ram %s speed. At this rate the speed at the pressure that gave the target right after the service leaves %s after about %s strokes (between %s, 95 %%); %s are done.",
		word, what, page.ShowCount(int64(in.Value)), between, page.ShowCount(int64(done)))}
	switch left := in.Value - done; {
	case left <= 0:
		n.Level, n.Text = page.Warn, n.Text+" By this trend it has left it."
	case in.Low <= done:
		n.Level, n.Text = page.Warn, n.Text+" It may have left it."
	default:
		n.Text += fmt.Sprintf(" That is about %s strokes from now.", page.ShowCount(int64(left)))
	}
	return []page.Notice{n}
}

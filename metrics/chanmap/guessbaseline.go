package chanmap

import (
	"fmt"
	"math"

	"thudbook/metrics/signal"
)

// How a baseline window is found. Common practice, no published source.
const (
	restMS           = 1.0  // at the start, from which rest and noise are taken first
	leastRest        = 8    // samples of it
	onsetShare       = 0.05 // of a channel's peak that ends its rest
	onsetDeviations  = 6    // of the noise, likewise
	standsOut        = 20   // deviations of the noise that an impact has at least
	quietShare       = 0.02 // of the largest peak: most that deviation and drift of the window may be
	windowShare      = 0.75 // of the quiet time that is taken
	leastBaselineMS  = 2.0
	baselineRemedy   = "Set processing.baseline_ms to the milliseconds at rest before the impact, or record longer before the trigger; without it the offsets of the sensors stay in the results."
	baselineNotKnown = "No baseline_ms is proposed: %s. " + baselineRemedy
)

// GuessBaseline proposes processing.baseline_ms for a record, in milliseconds:
// three quarters of the time before the first channel leaves its rest. Channels
// are in their units as read. The sentence says how it was chosen and what it is
// unsure of; without a quiet start ms is 0 and the sentence says why and what to do.
func GuessBaseline(r *signal.Recording) (ms float64, sentence string) {
	quiet, first, seen := math.Inf(1), "", 0
	for i := range r.Channels {
		ch := &r.Channels[i]
		if !ofHead(ch) {
			continue
		}
		seen++
		if at, ok := restOf(r, ch); ok && at < quiet {
			quiet, first = at, ch.Name
		}
	}
	switch {
	case seen == 0:
		return 0, fmt.Sprintf(baselineNotKnown, "no acceleration and no angular velocity was read")
	case first == "":
		return 0, fmt.Sprintf(baselineNotKnown, "no channel shows an impact that stands out from a quiet start")
	}
	before := "the channel " + first + " leaves its rest by 5 % of its peak"
	if zero := -1000 * r.At(0); zero > 0 && zero < quiet {
		quiet, before = zero, "time zero"
	}
	ms = math.Floor(10*windowShare*quiet) / 10
	if ms < leastBaselineMS {
		return 0, fmt.Sprintf(baselineNotKnown, fmt.Sprintf("only %.3g ms lie before %s, and %.3g ms at rest are wanted", quiet, before, leastBaselineMS/windowShare))
	}
	if loud := notQuiet(r, ms); loud != "" {
		return 0, fmt.Sprintf(baselineNotKnown, "the record is not at rest before "+before+": "+loud)
	}
	return ms, fmt.Sprintf("baseline_ms = %g is proposed, three quarters of the %.4g ms before %s. It was chosen from this one record: look at the traces, whether nothing moves in it and whether other shots of the rig have as long a start.", ms, quiet, before)
}

// ofHead tells whether a channel is at rest until the impact. Pressures, forces and
// gates are not: a tank empties and the ram passes a gate before it.
func ofHead(ch *signal.Channel) bool {
	return ch.Measures == signal.LinearAcceleration || ch.Measures == signal.AngularVelocity
}

// restOf gives the milliseconds from the start until a channel leaves its rest;
// ok is false when nothing stands out from its start.
func restOf(r *signal.Recording, ch *signal.Channel) (ms float64, ok bool) {
	n := max(r.LeadSamples(restMS/1000), leastRest)
	if len(ch.Values) < 2*n {
		return 0, false
	}
	rest, noise := signal.Mean(ch.Values[:n]), signal.Deviation(ch.Values[:n])
	peak := 0.0
	for _, v := range ch.Values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, false // a channel with gaps says nothing here
		}
		peak = max(peak, math.Abs(v-rest))
	}
	if peak == 0 || peak < standsOut*noise {
		return 0, false
	}
	limit := max(onsetShare*peak, onsetDeviations*noise)
	for k, v := range ch.Values {
		if math.Abs(v-rest) > limit {
			return 1000 * (r.At(k) - r.At(0)), true
		}
	}
	return 0, false
}

// notQuiet names the first channel that moves in the window, held against the
// largest peak of its quantity; empty: none does.
func notQuiet(r *signal.Recording, ms float64) string {
	n := r.LeadSamples(ms / 1000)
	peaks := map[signal.Quantity]float64{}
	for i := range r.Channels {
		ch := &r.Channels[i]
		if _, ok := restOf(r, ch); !ok || !ofHead(ch) || n < leastRest || n > len(ch.Values) {
			continue
		}
		mean := signal.Mean(ch.Values[:n])
		for _, v := range ch.Values {
			peaks[ch.Measures] = max(peaks[ch.Measures], math.Abs(v-mean))
		}
	}
	for i := range r.Channels {
		ch := &r.Channels[i]
		if _, ok := restOf(r, ch); !ok || peaks[ch.Measures] == 0 {
			continue
		}
		window, third := ch.Values[:n], n/3
		drift := math.Abs(signal.Mean(window[n-third:]) - signal.Mean(window[:third]))
		if share := max(signal.Deviation(window), drift) / peaks[ch.Measures]; share > quietShare {
			return fmt.Sprintf("channel %s moves by %.2g %% of the largest %s", ch.Name, 100*share, ch.Measures)
		}
	}
	return ""
}

// Package chart draws the traces of a shot: as SVG from slices, for the first
// paint and for print, and as a small binary file from which the page's script
// draws them again so that they can be zoomed.
//
// Both thin out by the smallest and largest value of each column, so that no
// peak is ever lost on the screen. There is one pane per unit; all panes share
// the time axis. Hue stands for the sensor's position, dash for the axis
// (X solid, Y dashed, Z dotted).
package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Traces are the channels of one shot over a shared time base.
type Traces struct {
	// TimeS are the sample times in seconds since time zero of the file, not
	// decreasing. Its length is the number of samples.
	TimeS []float64
	// FromTrigger says that time zero is the trigger, and not merely where the
	// record's clock begins.
	FromTrigger bool
	Channels    []Channel
	// ViewFromS and ViewToS are the part shown first, in seconds. When ViewToS
	// is not above ViewFromS it is the stretch around the largest acceleration
	// of a long record, or the whole of a short one.
	ViewFromS, ViewToS float64
	Marks              []Mark
}

// Channel is one curve. Raw is as read and in Unit, Filtered after baseline
// and channel class filter; either may be nil, both have the length of TimeS.
// What is not finite marks a sample that was not read.
type Channel struct {
	Name     string // column of the file, as "ax"; unique
	Label    string // as "Head, X"; Name when empty
	Quantity string // as "linear acceleration"
	Position string // as "centre of gravity"
	Axis     string // "x", "y", "z", "resultant" or empty
	Unit     string // as "g"
	Class    string // filter, as "CFC 1000"; empty: not filtered
	Raw      []float64
	Filtered []float64
}

// Mark is a stretch of time worth seeing, as the window of the head injury
// criterion, in the pane of its unit (in all panes when Unit is empty).
type Mark struct {
	Label      string
	Unit       string
	FromS, ToS float64
}

// timeLabel names the time axis.
func (t Traces) timeLabel() string {
	if t.FromTrigger {
		return "time since trigger, ms"
	}
	return "time in the record, ms"
}

// Check tells what is wrong with the lengths, nil when they agree.
func (t Traces) Check() error {
	for _, c := range t.Channels {
		for _, v := range [][]float64{c.Raw, c.Filtered} {
			if v != nil && len(v) != len(t.TimeS) {
				return fmt.Errorf("channel %s has %d values for %d times", c.Name, len(v), len(t.TimeS))
			}
		}
	}
	return nil
}

// best is the curve to show first: filtered where there is one.
func (c Channel) best() []float64 {
	if c.Filtered != nil {
		return c.Filtered
	}
	return c.Raw
}

func (c Channel) label() string {
	if c.Label != "" {
		return c.Label
	}
	return c.Name
}

// pane is one plot: the channels of one unit.
type pane struct {
	unit     string
	channels []int
}

func panes(t Traces) []pane {
	var ps []pane
	for i, c := range t.Channels {
		at := slices.IndexFunc(ps, func(p pane) bool { return p.unit == c.Unit })
		if at < 0 {
			ps, at = append(ps, pane{unit: c.Unit}), len(ps)
		}
		ps[at].channels = append(ps[at].channels, i)
	}
	return ps
}

// hues gives each channel one of four hues by sensor position, in the order of
// first appearance, so that a position has one colour in every pane. A channel
// without a position goes by its quantity. Where hue and dash would both be those
// of another curve of the pane, it takes the next hue.
func hues(cs []Channel) []int {
	var seen []string
	h := make([]int, len(cs))
	for i, c := range cs {
		key := c.Position
		if key == "" {
			key = "\x00" + c.Quantity
		}
		at := slices.Index(seen, key)
		if at < 0 {
			seen, at = append(seen, key), len(seen)
		}
		h[i] = at % 4
		for range 4 { // two curves of a pane that look alike cannot be told apart
			if !alike(cs, h, i) {
				break
			}
			h[i] = (h[i] + 1) % 4
		}
	}
	return h
}

// alike says that a channel before the i-th has its hue and dash in the same pane.
func alike(cs []Channel, h []int, i int) bool {
	for k := range i {
		if cs[k].Unit == cs[i].Unit && cs[k].Axis == cs[i].Axis && h[k] == h[i] {
			return true
		}
	}
	return false
}

// Summary says in words what the chart shows: the largest value of every
// channel and when it was, for people who cannot see it.
func (t Traces) Summary() string {
	if len(t.TimeS) == 0 || len(t.Channels) == 0 {
		return "No traces."
	}
	parts := make([]string, 0, len(t.Channels))
	for _, c := range t.Channels {
		at := peak(c.best())
		if at < 0 || at >= len(t.TimeS) {
			parts = append(parts, c.label()+": not read")
			continue
		}
		parts = append(parts, fmt.Sprintf("%s: %s %s at %s ms", c.label(), number(c.best()[at], 1), c.Unit, number(t.TimeS[at]*1e3, 1)))
	}
	return "Largest values. " + strings.Join(parts, "; ") + "."
}

// peak is the index of the value farthest from zero, -1 when none is finite.
func peak(v []float64) int {
	at, best := -1, -1.0
	for i, x := range v {
		if a := math.Abs(x); a > best && !math.IsInf(a, 1) {
			at, best = i, a
		}
	}
	return at
}

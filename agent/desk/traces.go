package desk

import (
	"context"
	"fmt"
	"math"
	"strings"
	"sync"

	"github.com/google/uuid"

	"thudbook/metrics/signal"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
	"thudbook/web/chart"
)

// keptTraces is how many shots' traces are kept ready: the screen asks for the
// same ones twice, as a picture and as numbers.
const keptTraces = 4

// tracer reads the channels of a shot again from its bytes.
type tracer struct {
	scorer scoring.Scorer

	mu   sync.Mutex
	kept []tracedShot // oldest first
}

type tracedShot struct {
	id     uuid.UUID
	traces *chart.Traces
	why    string // when there are none
}

// of gives the traces of a shot, or says why there are none.
func (t *tracer) of(ctx context.Context, r *view.ShotRow) (*chart.Traces, string, error) {
	t.mu.Lock()
	defer t.mu.Unlock() // one at a time: reading a record takes memory
	for _, k := range t.kept {
		if k.id == r.ID {
			return k.traces, k.why, nil
		}
	}
	got, err := t.scorer.Traces(ctx, scoring.JobOf(r.ID, &r.Shot))
	if err != nil {
		return nil, "", err
	}
	k := tracedShot{id: r.ID}
	if k.traces = traces(got); k.traces == nil {
		k.why = "No channel of the file could be read."
	}
	if len(t.kept) == keptTraces {
		t.kept = t.kept[1:]
	}
	t.kept = append(t.kept, k)
	return k.traces, k.why, nil
}

// traces puts the channels of a report in the form that the charts draw.
func traces(d *scoring.Traces) *chart.Traces {
	process := d.Report.Process
	if d.Raw == nil || d.Raw.Len() == 0 {
		return nil
	}
	base := d.Raw
	merged := d.Filtered != nil && d.Filtered.Len() != d.Raw.Len()
	if merged { // repeated times were merged: only those samples share a time base
		base = d.Filtered
	}
	t := &chart.Traces{TimeS: make([]float64, base.Len())}
	for i := range t.TimeS {
		t.TimeS[i] = base.At(i)
	}
	for i := range d.Raw.Channels {
		c := &d.Raw.Channels[i]
		ch := chart.Channel{Name: c.Name, Label: label(c), Quantity: string(c.Measures), Position: position(c), Axis: c.Axis.String(), Unit: c.Unit}
		if !merged {
			ch.Raw = c.Values
		}
		if d.Filtered != nil && i < len(d.Filtered.Channels) {
			ch.Filtered = d.Filtered.Channels[i].Values
			if process != nil && process.CFC[c.Name] > 0 {
				ch.Class = fmt.Sprintf("CFC %d", process.CFC[c.Name])
			}
		}
		if readable(ch.Raw) || readable(ch.Filtered) {
			t.Channels = append(t.Channels, ch)
		}
	}
	for _, s := range []struct {
		name, label, unit string
		q                 signal.Quantity
		values            []float64
	}{
		{"linear resultant", "Resultant, linear", "g", signal.LinearAcceleration, d.LinearG},
		{"angular resultant", "Resultant, angular", "rad/s", signal.AngularVelocity, d.AngularRadS},
	} {
		if len(s.values) == len(t.TimeS) && readable(s.values) {
			t.Channels = append(t.Channels, chart.Channel{Name: s.name, Label: s.label, Quantity: string(s.q), Axis: "resultant", Unit: s.unit, Filtered: s.values})
		}
	}
	if len(t.Channels) == 0 {
		return nil
	}
	return t
}

func readable(v []float64) bool {
	for _, x := range v {
		if !math.IsNaN(x) {
			return true
		}
	}
	return false
}

func label(c *signal.Channel) string {
	what := string(c.Measures)
	if a := c.Axis.String(); a != "" {
		what += ", " + strings.ToUpper(a)
	}
	return c.Name + " (" + what + ")"
}

func position(c *signal.Channel) string {
	if c.PositionMM == ([3]float64{}) {
		return "centre of gravity"
	}
	return fmt.Sprintf("%g, %g, %g mm", c.PositionMM[0], c.PositionMM[1], c.PositionMM[2])
}

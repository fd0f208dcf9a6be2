package desk

import (
	"context"
	"sync"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/evidence"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/chart"
	"thudbook/web/present"
)

// tracesOf serves the curves for the page's script.
func (d *Desk) tracesOf(c echo.Context) error {
	return d.serveTraces(c, func(t *chart.Traces) error { return chart.ServeTraces(c.Response(), c.Request(), *t) })
}

func (d *Desk) tracesCSV(c echo.Context) error {
	return d.serveTraces(c, func(t *chart.Traces) error {
		return chart.ServeCSV(c.Response(), c.Request(), "traces-"+c.Param("id"), *t)
	})
}

// serveTraces finds the traces of the shot that a path names.
func (d *Desk) serveTraces(c echo.Context, serve func(*chart.Traces) error) error {
	ctx := c.Request().Context()
	row, err := d.shotRow(c)
	if err != nil {
		return err
	}
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	own, err := d.labScope(ctx, &p, row.Lab)
	if err != nil {
		return err
	}
	t, why, err := d.traces.of(ctx, own, &row)
	if err != nil {
		return err
	}
	if t == nil {
		return problem.New(problem.NotFound, why, "Look at the flags of the shot.")
	}
	return serve(t)
}

// Bounds of drawing: how many shots at once, and what is kept ready, as the
// screen asks for the same curves twice, as a picture and as numbers.
const (
	drawnAtOnce = 2
	keptTraces  = 8
	keptValues  = 4 << 20 // numbers of one shot that is still kept
	mostSource  = 64 << 20
)

// tracer reads the channels of shots again from their bytes.
type tracer struct {
	evidence *evidence.Store
	read     *view.Reader
	turn     chan struct{}

	mu   sync.Mutex
	kept []traced // oldest first
}

type traced struct {
	id     uuid.UUID
	lab    record.LabID
	scored view.Stamp // the score by which they were drawn
	traces *chart.Traces
}

func newTracer(e *evidence.Store, read *view.Reader) *tracer {
	return &tracer{evidence: e, read: read, turn: make(chan struct{}, drawnAtOnce)}
}

// of gives the traces of a shot, or says why there are none. The bytes are read
// as the shot's own lab holds them, the certificates as own allows, the scope of
// that lab.
func (t *tracer) of(ctx context.Context, own scope.Scope, r *view.ShotRow) (*chart.Traces, string, error) {
	if got := t.find(r); got != nil {
		return got, "", nil
	}
	select {
	case t.turn <- struct{}{}:
		defer func() { <-t.turn }()
	case <-ctx.Done():
		return nil, "", context.Cause(ctx)
	}
	if got := t.find(r); got != nil { // drawn meanwhile
		return got, "", nil
	}
	got, why, err := t.signals(ctx, own, r)
	if got == nil {
		return nil, why, err
	}
	drawn := present.Traces(got)
	if drawn == nil {
		return nil, "No channel of the file could be read.", nil
	}
	t.keep(r, drawn)
	return drawn, "", nil
}

func (t *tracer) find(r *view.ShotRow) *chart.Traces {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, k := range t.kept {
		if k.id == r.ID && k.lab == r.Lab && k.scored == r.Scored() {
			return k.traces
		}
	}
	return nil
}

func (t *tracer) keep(r *view.ShotRow, c *chart.Traces) {
	if 2*len(c.TimeS)*len(c.Channels) > keptValues {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.kept) == keptTraces {
		t.kept = t.kept[1:]
	}
	t.kept = append(t.kept, traced{r.ID, r.Lab, r.Scored(), c})
}

package server

import (
	"context"
	"errors"
	"net/http"
	"slices"

	"thudbook/web/telemetry"
)

// MayReadMetrics says whether a caller gets /metrics.
func MayReadMetrics(o Options, r *http.Request) bool { return o.mayReadMetrics(r) }

// Routes gives every route of a server over a data folder, as "GET /path".
func Routes(ctx context.Context, o Options) (routes []string, err error) {
	if err := o.complete(); err != nil {
		return nil, err
	}
	set := telemetry.New("server", o.Version)
	h, err := open(ctx, &o, set)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	p, err := build(ctx, &o, h, set)
	if err != nil {
		return nil, err
	}
	for _, r := range p.handler.Routes() {
		routes = append(routes, r.Method+" "+r.Path)
	}
	slices.Sort(routes)
	return slices.Compact(routes), nil
}

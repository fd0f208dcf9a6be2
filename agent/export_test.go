package agent

import (
	"context"
	"errors"

	"github.com/labstack/echo/v4"

	"thudbook/web/telemetry"
)

// Routes gives every route of an agent over a data folder, as "GET /path".
func Routes(ctx context.Context, o Options) (routes []string, err error) {
	if err := o.complete(); err != nil {
		return nil, err
	}
	set := telemetry.New("agent", o.Version)
	h, err := open(ctx, &o, set)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	p, err := build(ctx, &o, h, set)
	if err != nil {
		return nil, err
	}
	e, ok := p.handler.(*echo.Echo)
	if !ok {
		return nil, errors.New("the handler is no echo")
	}
	for _, r := range e.Routes() {
		routes = append(routes, r.Method+" "+r.Path)
	}
	return routes, nil
}

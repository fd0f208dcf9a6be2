// Package api is the server's JSON interface. Every route stands behind the
// door; every read goes through the caller's scope, and what lies outside it is
// answered as not found.
package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/account"
	"thudbook/server/door"
	"thudbook/server/enrol"
	"thudbook/server/evidence"
	"thudbook/server/pool"
	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/server/tell"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
)

// API answers from the server's parts.
type API struct {
	Views    *view.Reader
	Roster   *roster.Roster
	Register *register.Register
	Agents   *enrol.Registry
	Accounts *account.Store
	Evidence *evidence.Store
	Pool     *pool.Pool
	Digests  Digests
	Now      func() time.Time
}

// Digests sums up days of labs.
type Digests interface {
	// Digest sums up a day, from its midnight to the next in its own zone.
	Digest(ctx context.Context, lab record.LabID, day time.Time) (*tell.Digest, error)
}

// Routes adds the routes to e, behind the door d.
func (a *API) Routes(e *echo.Echo, d *door.Door) {
	e.GET("/api/openapi.json", openAPI)
	g := e.Group("/api/v1", d.API)
	g.GET("/labs", a.labs)
	g.POST("/labs", a.newLab)
	for path, k := range a.kinds() {
		g.GET("/labs/:lab/"+path, k.list)
		g.POST("/labs/:lab/"+path, k.add)
	}
	g.GET("/labs/:lab/rigs", a.rigs)
	g.GET("/labs/:lab/rigs/:rig/checks", a.checks)
	g.GET("/labs/:lab/campaigns/:id", a.campaign)
	g.PUT("/labs/:lab/campaigns/:id/schedule", a.schedule)
	g.GET("/labs/:lab/digest", a.digest)
	a.upkeepRoutes(g)
	a.bookingRoutes(g)
	g.POST("/labs/:lab/codes", a.newCode)
	g.GET("/agents", a.agents)
	g.POST("/agents/:node/revoke", a.revoke)
	g.GET("/alarms", a.alarms)
	g.POST("/alarms/:id/seen", a.seeAlarm)
	g.GET("/shots", a.shots)
	g.GET("/shots/:id", a.shot)
	g.GET("/shots/:id/source", a.source)
	g.GET("/shots/:id/photos", a.photos)
	g.GET("/inspections", a.inspections)
	g.GET("/specimens/:name", a.specimen)
	g.GET("/servers", a.servers)
	g.GET("/accounts", a.accounts, door.Administrators)
	g.POST("/accounts", a.newAccount, door.Administrators)
}

// upkeepRoutes adds what is planned and done about equipment, and its files.
func (a *API) upkeepRoutes(g *echo.Group) {
	g.GET("/labs/:lab/work-orders", a.orders)
	g.POST("/labs/:lab/work-orders", a.newOrder)
	g.GET("/labs/:lab/work-orders/:id", a.order)
	g.POST("/labs/:lab/work-orders/:id/close", a.closeOrder)
	g.POST("/labs/:lab/work-orders/:id/cancel", a.cancelOrder(false))
	g.POST("/labs/:lab/work-orders/:id/reopen", a.cancelOrder(true))
	g.GET("/labs/:lab/service-plans", a.plans)
	g.PUT("/labs/:lab/service-plans/:class", a.setClassPlan(false))
	g.DELETE("/labs/:lab/service-plans/:class", a.setClassPlan(true))
	g.PUT("/labs/:lab/items/:item/service-plan", a.setItemPlan(false))
	g.DELETE("/labs/:lab/items/:item/service-plan", a.setItemPlan(true))
	g.GET("/labs/:lab/items/:item/documents", a.documents)
	g.POST("/labs/:lab/items/:item/documents", a.newDocument)
	g.GET("/documents/:id/file", a.documentFile)
	g.DELETE("/documents/:id", a.documentOff)
}

// place gives the lab of the address, within the caller's scope.
func (a *API) place(c echo.Context) (roster.Place, error) {
	return a.Roster.Find(c.Request().Context(), door.Of(c).Scope, c.Param("lab"))
}

// keeper gives the lab of the address to a person who may change it.
func (a *API) keeper(c echo.Context) (roster.Place, error) {
	in, err := a.place(c)
	if err != nil {
		return in, err
	}
	return in, register.MayKeep(door.Of(c).Principal, in.ID)
}

type idAnswer struct {
	ID uuid.UUID `json:"id"`
}

func created(c echo.Context, id uuid.UUID, location string) error {
	c.Response().Header().Set(echo.HeaderLocation, location)
	return c.JSON(http.StatusCreated, idAnswer{ID: id})
}

// read takes a JSON body into v. Fields that v does not have are refused, so
// that a misspelt one is not lost unseen.
func read(c echo.Context, v any) error {
	r := c.Request()
	if media, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType)); err != nil || media != echo.MIMEApplicationJSON {
		return problem.New(problem.Invalid, "The body is not marked as JSON.", "Send it with the header Content-Type: application/json.")
	}
	dec := json.NewDecoder(r.Body)
	dec.DisallowUnknownFields()
	err := dec.Decode(v)
	if err == nil {
		if _, more := dec.Token(); !errors.Is(more, io.EOF) {
			err = errors.New("something follows the JSON value")
		}
	}
	if err == nil {
		return nil
	}
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return tooLarge
	}
	p := &problem.Error{Code: problem.Invalid, What: "The body cannot be read: " + jsonFault(err) + ".",
		Fix: "Mend it; /api/openapi.json describes the fields.", Err: err}
	if t, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		p.Where = t.Field
	}
	return p
}

// jsonFault words what is wrong with a body without the names of Go types.
func jsonFault(err error) string {
	if t, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		return fmt.Sprintf("the field %q does not take a %s", t.Field, t.Value)
	}
	if s, ok := errors.AsType[*json.SyntaxError](err); ok {
		return fmt.Sprintf("not JSON at byte %d", s.Offset)
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return "it ends too early"
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// parseID reads an id of the address; what is no id is not found.
func parseID(c echo.Context, name, what string) (uuid.UUID, error) {
	id, err := uuid.Parse(c.Param(name))
	if err != nil || id == uuid.Nil {
		return uuid.Nil, problem.New(problem.NotFound, "There is no such "+what+".", "Check the address, or look it up in the list.")
	}
	return id, nil
}

// about gives the lab of the address and a thing of it, by the id that stands
// there under a name.
func about[R any](a *API, c echo.Context, name, what string, get func(context.Context, scope.Scope, uuid.UUID) (R, error)) (in roster.Place, row R, err error) {
	if in, err = a.place(c); err != nil {
		return in, row, err
	}
	id, err := parseID(c, name, what)
	if err != nil {
		return in, row, err
	}
	row, err = get(c.Request().Context(), in.Scope, id)
	return in, row, err
}

// whole gives several faults of one body as one problem, so that all of them
// can be mended at once.
func whole(err error) error {
	all := httpkit.Problems(err)
	if len(all) < 2 {
		return err
	}
	one := &problem.Error{Code: all[0].Code, Fix: "Mend each of them.", Err: err}
	var what, where []string
	for _, p := range all {
		text := p.What
		if p.Where != "" {
			where = append(where, p.Where)
			text = p.Where + ": " + text
		}
		what = append(what, text)
	}
	one.What, one.Where = strings.Join(what, "; "), strings.Join(where, "; ")
	return one
}

package api

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/enrol"
	"thudbook/server/register"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

type labAnswer struct {
	ID         record.LabID `json:"id"`
	Name       string       `json:"name"`
	Shots      int64        `json:"shots"`
	ToAssign   int64        `json:"to_assign"`
	Quarantine int64        `json:"quarantine"`
	SeenAgain  int64        `json:"seen_again"`
}

func (a *API) labs(c echo.Context) error {
	labs, err := a.Roster.Labs(c.Request().Context(), door.Of(c).Scope)
	if err != nil {
		return err
	}
	out := make([]labAnswer, 0, len(labs))
	for _, l := range labs {
		out = append(out, labAnswer(l))
	}
	return c.JSON(http.StatusOK, out)
}

func (a *API) newLab(c echo.Context) error {
	var q struct {
		Name string       `json:"name"`
		ID   record.LabID `json:"id"` // of a lab whose server is lost
	}
	if err := read(c, &q); err != nil {
		return err
	}
	id, err := a.Register.NewLab(c.Request().Context(), door.Of(c).Principal, q.Name, q.ID)
	if err != nil {
		return whole(err)
	}
	return created(c, id, "/api/v1/labs/"+id.String()+"/rigs")
}

type rigAnswer struct {
	ID   uuid.UUID `json:"id"`
	Name string    `json:"name"`
}

func (a *API) rigs(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	out := []rigAnswer{}
	err = every(c.Request().Context(), func(ctx context.Context, p view.Page) (view.List[view.RigRow], error) {
		return a.Views.Rigs(ctx, in.Scope, p)
	}, func(r *view.RigRow) error {
		out = append(out, rigAnswer{ID: r.ID, Name: r.Rig.Name})
		return nil
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

// mostRows bounds a list that is given whole.
const mostRows = 100_000

// every reads a list page by page to its end. More than mostRows are refused,
// never cut.
func every[T any](ctx context.Context, read func(context.Context, view.Page) (view.List[T], error), each func(*T) error) error {
	page := view.Page{Limit: view.MaxLimit}
	for n := 0; ; {
		list, err := read(ctx, page)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			if err := each(&list.Rows[i]); err != nil {
				return err
			}
		}
		if n += len(list.Rows); list.Next == "" {
			return nil
		}
		if n >= mostRows {
			return problem.New(problem.TooLarge, fmt.Sprintf("The list has more than %d entries.", mostRows), "Ask for one lab at a time.")
		}
		page.After = list.Next
	}
}

type codeAnswer struct {
	Code  string    `json:"code"`
	Until time.Time `json:"until"`
}

func (a *API) newCode(c echo.Context) error {
	in, err := a.keeper(c)
	if err != nil {
		return err
	}
	var q struct {
		Name  string        `json:"name"`
		Agent record.NodeID `json:"agent"` // that lost its key
	}
	if err := read(c, &q); err != nil {
		return err
	}
	if q.Agent != (record.NodeID{}) {
		return a.codeForLost(c, q.Agent)
	}
	code, until, err := a.Agents.NewCode(c.Request().Context(), in.ID, q.Name, door.Of(c).Author())
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	return c.JSON(http.StatusCreated, codeAnswer{Code: code, Until: until})
}

func (a *API) codeForLost(c echo.Context, agent record.NodeID) error {
	p := door.Of(c)
	code, _, until, err := a.Agents.NewCodeForLost(c.Request().Context(), p.KeepScope(), agent, p.Author())
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	return c.JSON(http.StatusCreated, codeAnswer{Code: code, Until: until})
}

type agentAnswer struct {
	Node          record.NodeID  `json:"node"`
	Name          string         `json:"name"`
	Lab           record.LabID   `json:"lab"` // the first of the labs
	LabName       string         `json:"lab_name"`
	Labs          []record.LabID `json:"labs"`
	Software      string         `json:"software"`
	Server        bool           `json:"server"` // another server, which fetches the labs
	EnrolledAt    *time.Time     `json:"enrolled_at"`
	RevokedAt     *time.Time     `json:"revoked_at"`
	LastSeen      *time.Time     `json:"last_seen"` // null: never
	RecordsBehind int64          `json:"records_behind"`
	BytesBehind   int64          `json:"bytes_behind"`
	ClockOffsetS  float64        `json:"clock_offset_s"`
	Key           []byte         `json:"public_key"` // Ed25519, that it proves itself with now

	AttachmentsBehind int64      `json:"attachments_behind"`
	OldestPending     *time.Time `json:"oldest_pending"` // by the agent's clock; null: nothing, or not told
	Stuck             string     `json:"stuck,omitempty"`
}

func (a *API) agents(c echo.Context) error {
	ctx, sc := c.Request().Context(), door.Of(c).Scope
	list, err := a.Agents.List(ctx, sc)
	if err != nil {
		return err
	}
	names, err := a.Roster.Names(ctx, sc)
	if err != nil {
		return err
	}
	out := make([]agentAnswer, 0, len(list))
	for _, s := range list {
		r := agentAnswer{Node: s.Node, Name: s.Name, Lab: s.Labs[0], Labs: s.Labs, Software: s.Software, Server: s.Server(),
			EnrolledAt: moment(s.Enrolled), RevokedAt: moment(s.Revoked), LastSeen: moment(s.LastSeen),
			RecordsBehind: s.Behind, BytesBehind: s.PendingBytes, ClockOffsetS: s.ClockOffset.Seconds(),
			AttachmentsBehind: s.PendingAttachments, OldestPending: moment(s.OldestPending), Stuck: s.Stuck, Key: s.PublicKey}
		if r.LabName, err = names.Of(ctx, s.Labs[0]); err != nil {
			return err
		}
		out = append(out, r)
	}
	return c.JSON(http.StatusOK, out)
}

func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func (a *API) revoke(c echo.Context) error {
	var q struct {
		Reason string `json:"reason"`
	}
	node, err := parseID(c, "node", "agent")
	if err != nil {
		return err
	}
	p := door.Of(c)
	if err := a.mayKeepAgent(c, node); err != nil {
		return err
	}
	if c.Request().ContentLength != 0 {
		if err := read(c, &q); err != nil {
			return err
		}
	}
	if err := a.Agents.Revoke(c.Request().Context(), p.Scope, node, p.Author(), q.Reason); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// mayKeepAgent refuses an agent outside the scope, and a person who may not
// change every lab that it records for.
func (a *API) mayKeepAgent(c echo.Context, node record.NodeID) error {
	p := door.Of(c)
	list, err := a.Agents.List(c.Request().Context(), p.Scope)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(list, func(s enrol.Status) bool { return s.Node == node })
	if at < 0 {
		return problem.New(problem.NotFound, "There is no such agent.", "Look at the list of agents.")
	}
	for _, l := range list[at].Labs {
		if err := register.MayKeep(p.Principal, l); err != nil {
			return err
		}
	}
	return nil
}

// query reads a whole number from 1 to most out of the address; 0 when it is
// not there.
func query(c echo.Context, name string, most int) (int, error) {
	text := c.QueryParam(name)
	if text == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > most {
		return 0, &problem.Error{Code: problem.Invalid, What: fmt.Sprintf("%q is not a whole number from 1 to %d.", text, most), Where: name, Fix: "Mend the address.", Err: err}
	}
	return n, nil
}

// next gives the address of the following part of a list.
func next(c echo.Context, after string) string {
	if after == "" {
		return ""
	}
	q := url.Values{}
	for k, v := range c.QueryParams() {
		q[k] = v
	}
	q.Set("after", after)
	return c.Request().URL.Path + "?" + q.Encode()
}

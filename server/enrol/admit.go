package enrol

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"thudbook/sync/alarm"
	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// serverWide is the lab of the chain that holds the server's own facts.
var serverWide record.LabID // the zero lab; never changed

// NewCode makes a one-time code for one agent of a lab. The code is given once
// and kept as a sum only.
func (g *Registry) NewCode(ctx context.Context, lab record.LabID, name, by string) (string, time.Time, error) {
	name = strings.TrimSpace(name)
	switch {
	case lab == serverWide:
		return "", time.Time{}, problem.New(problem.Invalid, "The code belongs to no lab.", "Choose the lab that the agent records for.")
	case name == "" || len(name) > 80 || !utf8.ValidString(name):
		return "", time.Time{}, problem.New(problem.Invalid, "The agent's name is empty, longer than 80 bytes or no text.", "Give it the name of its rig.")
	case by == "":
		return "", time.Time{}, problem.New(problem.Invalid, "It is not known who makes the code.", "Sign in first.")
	}
	return g.newCode(ctx, codeRow{Lab: lab, Name: name, By: by})
}

// NewCodeForLost makes a one-time code by which an agent that lost its key comes
// back under its old identity, with a new key. The scope must hold all of its
// labs.
func (g *Registry) NewCodeForLost(ctx context.Context, sc scope.Scope, agent record.NodeID, by string) (code, name string, until time.Time, err error) {
	var row codeRow
	err = g.o.Store.View(ctx, func(r kv.Reader) error {
		n, ok, err := g.nodes.Get(r, agent[:])
		if err != nil {
			return err
		}
		if !ok || len(n.Labs) == 0 || slices.ContainsFunc(n.Labs, func(l record.LabID) bool { return !sc.Allows(l) }) {
			return problem.New(problem.NotFound, "There is no such agent.", "Look at the list of agents.")
		}
		row = codeRow{Lab: n.Labs[0], Name: n.Name, By: by, Agent: agent}
		return nil
	})
	if err != nil {
		return "", "", time.Time{}, err
	}
	code, until, err = g.newCode(ctx, row)
	return code, row.Name, until, err
}

func (g *Registry) newCode(ctx context.Context, row codeRow) (string, time.Time, error) {
	code, err := exchange.NewCode(g.o.ServerKey())
	if err != nil {
		return "", time.Time{}, fmt.Errorf("make a code: %w", err)
	}
	now := g.o.Now()
	row.Sum, row.Hint, row.MadeMS, row.ExpiresMS = code.Sum(), hint(code.Secret[:]), now.UnixMilli(), now.Add(CodeLife).UnixMilli()
	err = g.o.Store.Update(ctx, func(tx kv.Tx) error { return g.codes.Put(tx, &row) })
	if err != nil {
		return "", time.Time{}, fmt.Errorf("keep the code: %w", err)
	}
	return code.String(), time.UnixMilli(row.ExpiresMS).UTC(), nil
}

// Enrol admits a node by a code. The same request again, after a lost answer,
// gives the same answer and writes nothing.
func (g *Registry) Enrol(ctx context.Context, q *exchange.EnrolRequest) (*exchange.EnrolAnswer, error) {
	a := admission{g: g, q: q, local: exchange.LocalLab(q.PublicKey)}
	_, err := g.o.Ledger.AppendWith(ctx, serverWide, func(tx kv.Tx) ([]ledger.Draft, error) {
		a.now = g.o.Now()
		return a.run(tx)
	})
	if a.unknown {
		return nil, errors.Join(err, g.countWrong(ctx, q.Secret))
	}
	if err != nil {
		return nil, err
	}
	if a.lost {
		_, err := g.book().Raise(ctx, alarm.Raised{Alarm: AlarmKeyReplaced, Subject: q.EnrollmentID.String(), Node: q.Node, Lab: a.answer.Lab,
			Text: fmt.Sprintf("Agent %s came back with a new key by a code that was made for it, since it had lost its old one. Whoever has the old key can do nothing with it any more.", a.answer.Name)})
		if err != nil {
			g.o.Log.Error("the alarm could not be kept", "error", err)
		}
	}
	g.o.Log.Info("node enrolled", "node", q.Node.String(), "name", a.answer.Name, "lab", a.answer.Lab.String())
	return &a.answer, nil
}

// admission is one request within its transaction.
type admission struct {
	g      *Registry
	q      *exchange.EnrolRequest
	local  record.LabID
	now    time.Time
	answer exchange.EnrolAnswer

	unknown bool // no code is this one
	lost    bool // the node has another key than before
}

func (a *admission) run(tx kv.Tx) ([]ledger.Draft, error) {
	sum := exchange.SecretSum(a.q.Secret)
	code, ok, err := a.g.codes.Get(tx, sum[:])
	if err != nil {
		return nil, err
	}
	node, known, err := a.g.nodes.Get(tx, a.q.Node[:])
	if err != nil {
		return nil, err
	}
	a.unknown = !ok
	switch {
	case !ok:
		return nil, problem.New(problem.Unauthenticated, "The server does not know this code.",
			"Compare it with the one on the server's page of agents, or make a new one.")
	case code.Agent != (record.NodeID{}) && code.Agent != a.q.Node:
		return nil, problem.New(problem.Conflict, "This code is for another agent, which lost its key.", "Make a code for a new agent on the server's page of agents.")
	case known && code.Agent != a.q.Node && !bytes.Equal(node.PublicKey, a.q.PublicKey):
		return nil, problem.New(problem.Conflict, "Another key is enrolled under this agent's identity.",
			"If this agent lost its key, a manager makes a code for that on the server's page of agents. If it was copied from another PC, start it in a new data folder.")
	case code.UsedMS != 0:
		return nil, a.again(code, node)
	case code.spent():
		return nil, problem.New(problem.Unauthenticated, fmt.Sprintf("Somebody tried %d wrong codes that begin like this one, so it is not taken any more.", MaxWrong),
			"Make a new code on the server's page of agents, and type it in with care.")
	case a.now.UnixMilli() >= code.ExpiresMS:
		return nil, problem.New(problem.Unauthenticated, "The code has expired; codes are good for 24 hours.", "Make a new code on the server's page of agents.")
	}
	return a.admit(tx, code, node)
}

// again answers a repetition, and refuses a second use.
func (a *admission) again(code *codeRow, node *nodeRow) error {
	if code.EnrollmentID != a.q.EnrollmentID || code.UsedBy != a.q.Node || node == nil {
		return problem.New(problem.Conflict, "The code was used already.", "Make a new code on the server's page of agents; every agent needs one of its own.")
	}
	if node.RevokedMS != 0 {
		return withdrawn(node)
	}
	a.answer = exchange.EnrolAnswer{Lab: code.Lab, Name: node.Name}
	return nil
}

func (a *admission) admit(tx kv.Tx, code *codeRow, node *nodeRow) ([]ledger.Draft, error) {
	if node == nil {
		node = &nodeRow{ID: a.q.Node, PublicKey: a.q.PublicKey}
	}
	if code.Agent == a.q.Node {
		a.lost = !bytes.Equal(node.PublicKey, a.q.PublicKey)
		node.PublicKey = a.q.PublicKey // the code says that the old one is lost
	}
	node.Name, node.Software = code.Name, limited(a.q.Software)
	node.EnrolledMS, node.EnrolledBy = a.now.UnixMilli(), code.By
	node.RevokedMS, node.RevokedBy, node.RevokedWhy = 0, "", ""
	if !slices.Contains(node.Labs, code.Lab) {
		node.Labs = append(node.Labs, code.Lab)
	}
	code.UsedMS, code.UsedBy, code.EnrollmentID = a.now.UnixMilli(), a.q.Node, a.q.EnrollmentID
	if err := a.g.nodes.Put(tx, node); err != nil {
		return nil, err
	}
	if err := a.g.codes.Put(tx, code); err != nil {
		return nil, err
	}
	a.answer = exchange.EnrolAnswer{Lab: code.Lab, Name: node.Name}
	fact, err := draft(KindEnrolled, record.NodeID(node.ID), code.By, Enrolled{Node: node.ID, Lab: code.Lab, Name: node.Name,
		PublicKey: node.PublicKey, EnrollmentID: a.q.EnrollmentID, Software: node.Software, By: code.By})
	if err != nil {
		return nil, err
	}
	drafts := []ledger.Draft{fact}
	alias, err := a.alias(tx, code)
	if err != nil {
		return nil, err
	}
	return append(drafts, alias...), nil
}

// alias adopts the lab under which the node wrote before. It is adopted once:
// what was recorded for one lab never moves to another. The local lab follows
// from the node's key, so no node can name somebody else's.
func (a *admission) alias(tx kv.Tx, code *codeRow) ([]ledger.Draft, error) {
	_, ok, err := a.g.aliases.Get(tx, a.local[:])
	if err != nil || ok || code.Agent == a.q.Node { // it goes on under the names that it had
		return nil, err
	}
	row := Alias{Local: a.local, Lab: code.Lab, Node: a.q.Node}
	if err := a.g.aliases.Put(tx, &row); err != nil {
		return nil, err
	}
	d, err := draft(KindAlias, a.local, code.By, row)
	return []ledger.Draft{d}, err
}

func draft(kind record.Kind, uid [16]byte, by string, body any) (ledger.Draft, error) {
	b, err := record.EncodeBody(body)
	return ledger.Draft{Kind: kind, Schema: 1, Author: by, UID: uid, Body: b}, err
}

// hintBytes of a code tell which one a wrong code was meant to be; the other
// twelve bytes of the secret stay unknown.
const hintBytes = 4

func hint(secret []byte) []byte {
	sum := sha256.Sum256(append([]byte("hint1"), secret[:min(hintBytes, len(secret))]...))
	return sum[:8]
}

// countWrong counts a wrong code against the open ones that begin like it.
func (g *Registry) countWrong(ctx context.Context, secret []byte) error {
	h := hint(secret)
	near := false
	err := g.o.Store.View(ctx, func(r kv.Reader) error {
		for _, err := range g.codes.ScanIndex(r, byHint, h, kv.PrefixEnd(h), false) {
			near = err == nil
			return err
		}
		return nil
	})
	if err != nil || !near {
		return err // rubbish costs no write
	}
	return g.o.Store.Update(ctx, func(tx kv.Tx) error {
		var open []*codeRow
		for c, err := range g.codes.ScanIndex(tx, byHint, h, kv.PrefixEnd(h), false) {
			if err != nil {
				return err
			}
			open = append(open, c)
		}
		for _, c := range open {
			if c.Wrong++; c.Wrong == MaxWrong {
				g.o.Log.Warn("a code is not taken any more after wrong attempts", "name", c.Name, "lab", c.Lab.String())
			}
			if err := g.codes.Put(tx, c); err != nil {
				return err
			}
		}
		return nil
	})
}

// limited keeps a text of a node short.
func limited(s string) string { return clip(s, 120) }

func clip(s string, n int) string {
	if len(s) > n {
		s = s[:n]
	}
	return strings.ToValidUTF8(s, "")
}

// Revoke withdraws a node: from the next request on nothing is taken from it
// and nothing given to it. Its records stay. The scope must hold all of its
// labs; a node outside the scope is not found.
func (g *Registry) Revoke(ctx context.Context, sc scope.Scope, node record.NodeID, by, reason string) error {
	if by == "" {
		return problem.New(problem.Invalid, "It is not known who withdraws the agent.", "Sign in first.")
	}
	_, err := g.o.Ledger.AppendWith(ctx, serverWide, func(tx kv.Tx) ([]ledger.Draft, error) {
		n, ok, err := g.nodes.Get(tx, node[:])
		if err != nil {
			return nil, err
		}
		if !ok || !slices.ContainsFunc(n.Labs, sc.Allows) {
			return nil, problem.New(problem.NotFound, "There is no such agent.", "Look at the list of agents.")
		}
		if slices.ContainsFunc(n.Labs, func(l record.LabID) bool { return !sc.Allows(l) }) {
			return nil, problem.New(problem.Forbidden, "This agent also records for a lab that is not yours.", "Ask an administrator of the server.")
		}
		if n.RevokedMS != 0 {
			return nil, nil
		}
		n.RevokedMS, n.RevokedBy, n.RevokedWhy = g.o.Now().UnixMilli(), by, limited(reason)
		if err := g.nodes.Put(tx, n); err != nil {
			return nil, err
		}
		d, err := draft(KindRevoked, node, by, Revoked{Node: node, By: by, Reason: n.RevokedWhy})
		return []ledger.Draft{d}, err
	})
	return err
}

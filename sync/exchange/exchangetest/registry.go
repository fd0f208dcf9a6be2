package exchangetest

import (
	"context"
	"slices"
	"sync"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Registry is a list of nodes in memory, for tests of what lies above it.
type Registry struct {
	mu    sync.Mutex
	nodes map[record.NodeID]exchange.Principal
	gone  map[record.NodeID]bool
	codes map[record.Hash]record.LabID
	ids   []uuid.UUID
}

// Enrolments gives the enrolment ids of all requests, in order.
func (r *Registry) Enrolments() []uuid.UUID {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.ids)
}

// Accept takes a code that another server made.
func (r *Registry) Accept(code string, lab record.LabID) error {
	c, err := exchange.ParseCode(code)
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.codes == nil {
		r.codes = map[record.Hash]record.LabID{}
	}
	r.codes[c.Sum()] = lab
	return nil
}

// Add enters a node.
func (r *Registry) Add(p exchange.Principal) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.nodes == nil {
		r.nodes, r.gone = map[record.NodeID]exchange.Principal{}, map[record.NodeID]bool{}
	}
	r.nodes[p.Node] = p
}

// Withdraw takes a node's rights.
func (r *Registry) Withdraw(n record.NodeID) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.gone[n] = true
}

// Code makes a code for a lab.
func (r *Registry) Code(s *exchange.Service, lab record.LabID) (string, error) {
	c, err := exchange.NewCode(s.PublicKey())
	if err != nil {
		return "", err
	}
	text := c.String()
	return text, r.Accept(text, lab)
}

// Principal gives a node's rights.
func (r *Registry) Principal(_ context.Context, n record.NodeID) (exchange.Principal, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	p, ok := r.nodes[n]
	switch {
	case !ok:
		return p, problem.New(problem.Unauthenticated, "The server does not know this agent.", "Enrol it.")
	case r.gone[n]:
		return p, problem.New(problem.Forbidden, "This agent was withdrawn.", "Ask for a new code.")
	}
	p.Labs = slices.Clone(p.Labs)
	return p, nil
}

// Rekeyed takes a node's new key.
func (r *Registry) Rekeyed(_ context.Context, k exchange.Rekey) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	p := r.nodes[k.Node]
	if err := k.Verify(k.Node, p.Key); err != nil {
		return err
	}
	p.Key = k.New
	r.nodes[k.Node] = p
	return nil
}

// Enrol admits a node by a code, which stays good.
func (r *Registry) Enrol(_ context.Context, q *exchange.EnrolRequest) (*exchange.EnrolAnswer, error) {
	r.mu.Lock()
	lab, ok := r.codes[exchange.SecretSum(q.Secret)]
	r.ids = append(r.ids, q.EnrollmentID)
	r.mu.Unlock()
	if !ok {
		return nil, problem.New(problem.Unauthenticated, "The server does not know this code.", "Make a new one.")
	}
	r.Add(exchange.Principal{Node: q.Node, Key: q.PublicKey, Labs: []record.LabID{lab, exchange.LocalLab(q.PublicKey)}})
	return &exchange.EnrolAnswer{Lab: lab, Name: "rig"}, nil
}

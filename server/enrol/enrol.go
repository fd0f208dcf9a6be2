// Package enrol keeps the server's list of nodes: who may send records, for
// which labs, under which key, when each was last heard of and how far behind
// it is. A node comes in by a one-time code, and goes by being withdrawn; both
// are facts in the server-wide chain.
//
// An agent writes before it is enrolled, under a local lab of its own that
// follows from its key. At enrolment that local lab becomes an alias of the
// real lab, for ever: records keep the lab that they were written under, and
// whoever shows them asks Resolve to which lab they belong, and passes Widen's
// scope to reads so that rows under an alias are found.
package enrol

import (
	"context"
	"crypto/ed25519"
	"errors"
	"log/slog"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/httppeer"
	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Kinds of facts in the server-wide chain.
const (
	KindEnrolled record.Kind = "node.enrolled"
	KindRevoked  record.Kind = "node.revoked"
	KindAlias    record.Kind = "lab.alias"
)

// CodeLife is how long a one-time code is good for.
const CodeLife = 24 * time.Hour

// MaxWrong is how many wrong codes that begin like a good one end the good one.
const MaxWrong = 10

// Enrolled is the body of KindEnrolled; its UID is the node.
type Enrolled struct {
	Node         record.NodeID `json:"node"`
	Lab          record.LabID  `json:"lab"`
	Name         string        `json:"name"`
	PublicKey    []byte        `json:"public_key"`
	EnrollmentID uuid.UUID     `json:"enrollment_id"`
	Software     string        `json:"software"`
	By           string        `json:"by"` // who made the code
}

// Revoked is the body of KindRevoked; its UID is the node.
type Revoked struct {
	Node   record.NodeID `json:"node"`
	By     string        `json:"by"`
	Reason string        `json:"reason"`
}

// Alias is the body of KindAlias; its UID is the local lab.
type Alias = exchange.Alias

// nodeRow is what the list keeps of a node.
type nodeRow struct {
	ID             record.NodeID  `json:"id"`
	Name           string         `json:"name"`
	Labs           []record.LabID `json:"labs"` // real ones
	PublicKey      []byte         `json:"public_key"`
	Software       string         `json:"software"`
	EnrolledMS     int64          `json:"enrolled_ms"`
	EnrolledBy     string         `json:"enrolled_by"`
	RevokedMS      int64          `json:"revoked_ms"`
	RevokedBy      string         `json:"revoked_by"`
	RevokedWhy     string         `json:"revoked_why"`
	SeenMS         int64          `json:"seen_ms"`
	Heads          []headRow      `json:"heads"` // as the node reported them last
	PendingRecords int64          `json:"pending_records"`
	PendingBytes   int64          `json:"pending_bytes"`
	ClockOffsetMS  int64          `json:"clock_offset_ms"`

	PendingAttachments int64  `json:"pending_attachments,omitempty"`
	OldestPendingMS    int64  `json:"oldest_pending_ms,omitempty"`
	Stuck              string `json:"stuck,omitempty"`

	HeardOf []byte `json:"heard_of,omitempty"` // the server's key to come that the node has pinned
}

type headRow struct {
	Lab   record.LabID `json:"lab"`
	Epoch uint32       `json:"epoch"`
	Seq   uint64       `json:"seq"`
}

// codeRow is what is kept of a one-time code: its sum, never the code.
type codeRow struct {
	Sum          record.Hash   `json:"sum"`
	Lab          record.LabID  `json:"lab"`
	Name         string        `json:"name"`
	By           string        `json:"by"`
	MadeMS       int64         `json:"made_ms"`
	ExpiresMS    int64         `json:"expires_ms"`
	UsedMS       int64         `json:"used_ms"`
	UsedBy       record.NodeID `json:"used_by"`
	EnrollmentID uuid.UUID     `json:"enrollment_id"`
	Hint         []byte        `json:"hint,omitempty"` // of the code's beginning: tells which code was meant by a wrong one
	Wrong        int           `json:"wrong,omitempty"`
	// Agent is the one that lost its key and comes back by this code; the zero
	// id: an agent that comes with an identity of its own.
	Agent record.NodeID `json:"agent,omitzero"`
}

// spent says that too many wrong codes were tried that begin like this one.
func (c *codeRow) spent() bool { return c.Wrong >= MaxWrong }

// Options says what a registry works on.
type Options struct {
	Ledger    *ledger.Ledger
	Store     kv.Store                 // the store of the ledger
	ServerKey func() ed25519.PublicKey // that the server proves itself with now
	Now       func() time.Time
	Log       *slog.Logger
}

// Registry is the list of nodes, codes and aliases.
type Registry struct {
	o       Options
	nodes   index.Table[nodeRow]
	codes   index.Table[codeRow]
	aliases index.Table[Alias]
}

var _ httppeer.Registry = (*Registry)(nil)

const (
	byLab  = "lab"
	byHint = "hint"
)

// Open makes a registry over a store.
func Open(o Options) (*Registry, error) {
	if o.Ledger == nil || o.Store == nil || o.ServerKey == nil {
		return nil, errors.New("enrol: a registry needs a ledger, its store and the server's key")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return &Registry{o: o,
		nodes: index.Table[nodeRow]{Name: "enrol.node",
			Key:     func(n *nodeRow) []byte { return n.ID[:] },
			Indexes: []index.Index[nodeRow]{{Name: byLab, Keys: func(n *nodeRow) [][]byte { return labKeys(n.Labs) }}}},
		codes: index.Table[codeRow]{Name: "enrol.code",
			Key: func(c *codeRow) []byte { return c.Sum[:] },
			Indexes: []index.Index[codeRow]{
				{Name: byLab, Keys: func(c *codeRow) [][]byte { return [][]byte{c.Lab[:]} }},
				{Name: byHint, Keys: func(c *codeRow) [][]byte {
					if len(c.Hint) == 0 || c.UsedMS != 0 {
						return nil
					}
					return [][]byte{c.Hint}
				}}}},
		aliases: index.Table[Alias]{Name: "enrol.alias",
			Key:     func(a *Alias) []byte { return a.Local[:] },
			Indexes: []index.Index[Alias]{{Name: byLab, Keys: func(a *Alias) [][]byte { return [][]byte{a.Lab[:]} }}}},
	}, nil
}

func labKeys(labs []record.LabID) [][]byte {
	keys := make([][]byte, len(labs))
	for i := range labs {
		keys[i] = labs[i][:]
	}
	return keys
}

// Principal gives the key of a node and the labs that it may write and read,
// aliases included.
func (g *Registry) Principal(ctx context.Context, node record.NodeID) (exchange.Principal, error) {
	p := exchange.Principal{Node: node}
	err := g.o.Store.View(ctx, func(r kv.Reader) error {
		n, ok, err := g.nodes.Get(r, node[:])
		if err != nil {
			return err
		}
		if !ok {
			return problem.New(problem.Unauthenticated, "The server does not know this agent.",
				"Make a one-time code on the server's page of agents and enrol this agent with it.")
		}
		if n.RevokedMS != 0 {
			return withdrawn(n)
		}
		p.Key = n.PublicKey
		if p.Labs, err = g.expand(r, n.Labs); err != nil {
			return err
		}
		p.Aliases, err = g.aliasesAmong(r, p.Labs)
		return err
	})
	return p, err
}

func withdrawn(n *nodeRow) error {
	return &problem.Error{Code: problem.Forbidden, Where: "agent " + n.Name,
		What: "This agent was withdrawn on the server on " + time.UnixMilli(n.RevokedMS).UTC().Format(time.DateOnly) + ".",
		Fix:  "It keeps recording here. If that was a mistake, an administrator makes a new code to enrol it again."}
}

// Resolve gives the lab that a record's lab stands for: itself, or the real lab
// of an alias.
func (g *Registry) Resolve(ctx context.Context, lab record.LabID) (record.LabID, error) {
	real := lab
	err := g.o.Store.View(ctx, func(r kv.Reader) (err error) {
		real, err = g.resolve(r, lab)
		return err
	})
	return real, err
}

func (g *Registry) resolve(r kv.Reader, lab record.LabID) (record.LabID, error) {
	a, ok, err := g.aliases.Get(r, lab[:])
	if err != nil || !ok {
		return lab, err
	}
	return a.Lab, nil
}

// Expand gives labs with all of their aliases, each once.
func (g *Registry) Expand(ctx context.Context, labs ...record.LabID) ([]record.LabID, error) {
	var all []record.LabID
	err := g.o.Store.View(ctx, func(r kv.Reader) (err error) {
		all, err = g.expand(r, labs)
		return err
	})
	return all, err
}

func (g *Registry) expand(r kv.Reader, labs []record.LabID) ([]record.LabID, error) {
	var all []record.LabID
	for _, lab := range labs {
		if !slices.Contains(all, lab) {
			all = append(all, lab)
		}
		for a, err := range g.aliases.ScanIndex(r, byLab, lab[:], kv.PrefixEnd(lab[:]), false) {
			if err != nil {
				return nil, err
			}
			if a.Lab == lab && !slices.Contains(all, a.Local) {
				all = append(all, a.Local)
			}
		}
	}
	return all, nil
}

// aliasesAmong says which of labs are aliases.
func (g *Registry) aliasesAmong(r kv.Reader, labs []record.LabID) (all []Alias, err error) {
	for _, lab := range labs {
		a, ok, err := g.aliases.Get(r, lab[:])
		if err != nil {
			return nil, err
		}
		if ok {
			all = append(all, *a)
		}
	}
	return all, nil
}

// Widen gives a scope that also holds the aliases of its labs. Every read of a
// view takes a widened scope.
func (g *Registry) Widen(ctx context.Context, s scope.Scope) (scope.Scope, error) {
	labs, every := s.List()
	if every {
		return s, nil
	}
	all, err := g.Expand(ctx, labs...)
	return scope.Labs(all...), err
}

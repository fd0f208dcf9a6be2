package enrol

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"fmt"
	"slices"
	"strings"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Status is one line of the list of agents. Times are zero where they do not
// apply.
type Status struct {
	Node         record.NodeID
	Name         string
	Labs         []record.LabID // real labs, those within the scope
	Software     string
	Enrolled     time.Time
	EnrolledBy   string
	Revoked      time.Time
	RevokedBy    string
	RevokedWhy   string
	LastSeen     time.Time
	Behind       int64 // records that the node reported and that are not here yet
	PendingBytes int64 // as the node reported: records and attachments
	ClockOffset  time.Duration
	PublicKey    ed25519.PublicKey // that it proves itself with now

	PendingAttachments int64
	OldestPending      time.Time // by the agent's clock
	Stuck              string    // what the agent said of its session before the last, in its own words

	HeardOf ed25519.PublicKey // the server's key to come that the agent has pinned; nil: none
}

// ServerSoftware begins how a server names its program when it fetches; an agent
// names the program alone.
const ServerSoftware = "thudbook server "

// Server says that it is another server, which fetches the labs, and no rig PC.
func (s *Status) Server() bool { return strings.HasPrefix(s.Software, ServerSoftware) }

// Version is the version of the program.
func (s *Status) Version() string {
	return strings.TrimPrefix(strings.TrimPrefix(s.Software, ServerSoftware), "thudbook ")
}

// Seen keeps what a node said of itself at the start of a session.
func (g *Registry) Seen(ctx context.Context, rep exchange.Report) error {
	return g.o.Store.Update(ctx, func(tx kv.Tx) error {
		n, ok, err := g.nodes.Get(tx, rep.Node[:])
		if err != nil || !ok {
			return err
		}
		n.SeenMS, n.Software = rep.ServerTime.UnixMilli(), limited(rep.Software)
		n.PendingRecords, n.PendingBytes = max(0, rep.PendingRecords), max(0, rep.PendingBytes)
		n.ClockOffsetMS = rep.NodeTime.Sub(rep.ServerTime).Milliseconds()
		n.PendingAttachments, n.Stuck, n.OldestPendingMS = rep.PendingAttachments, clip(rep.Stuck, maxStuck), 0
		if !rep.OldestPending.IsZero() {
			n.OldestPendingMS = rep.OldestPending.UnixMilli()
		}
		n.HeardOf = nil
		if len(rep.HeardOf) == ed25519.PublicKeySize {
			n.HeardOf = rep.HeardOf
		}
		n.Heads = n.Heads[:0]
		for _, h := range rep.Heads {
			n.Heads = append(n.Heads, headRow{Lab: h.Origin.Lab, Epoch: h.Origin.Epoch, Seq: h.Seq})
		}
		return g.nodes.Put(tx, n)
	})
}

// List gives the agents of the scope's labs, by name. Pending bytes are told
// only where the scope holds all labs of the agent.
func (g *Registry) List(ctx context.Context, sc scope.Scope) ([]Status, error) {
	heads, err := g.o.Ledger.Heads(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the heads: %w", err)
	}
	var out []Status
	err = g.o.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for n, err := range g.nodes.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			s, ok, err := g.status(r, sc, n, heads)
			if err != nil {
				return err
			}
			if ok {
				out = append(out, s)
			}
		}
		return nil
	})
	slices.SortFunc(out, func(a, b Status) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), slices.Compare(a.Node[:], b.Node[:]))
	})
	return out, err
}

func (g *Registry) status(r kv.Reader, sc scope.Scope, n *nodeRow, heads map[record.Origin]record.Head) (Status, bool, error) {
	s := Status{PublicKey: n.PublicKey, Node: n.ID, Name: n.Name, Software: n.Software, EnrolledBy: n.EnrolledBy, RevokedBy: n.RevokedBy, RevokedWhy: n.RevokedWhy,
		Enrolled: moment(n.EnrolledMS), Revoked: moment(n.RevokedMS), LastSeen: moment(n.SeenMS),
		ClockOffset: time.Duration(n.ClockOffsetMS) * time.Millisecond}
	for _, lab := range n.Labs {
		if sc.Allows(lab) {
			s.Labs = append(s.Labs, lab)
		}
	}
	if len(s.Labs) == 0 {
		return s, false, nil
	}
	for _, h := range n.Heads {
		lab, err := g.resolve(r, h.Lab)
		if err != nil {
			return s, false, err
		}
		if !sc.Allows(lab) {
			continue
		}
		here := heads[record.Origin{Node: n.ID, Lab: h.Lab, Epoch: h.Epoch}].Seq
		if h.Seq > here {
			s.Behind += int64(h.Seq - here)
		}
	}
	s.HeardOf = n.HeardOf
	if len(s.Labs) == len(n.Labs) {
		s.PendingBytes, s.PendingAttachments = n.PendingBytes, n.PendingAttachments
		s.OldestPending, s.Stuck = moment(n.OldestPendingMS), n.Stuck
	}
	return s, true, nil
}

// maxStuck bounds what an agent may say of its trouble, in bytes.
const maxStuck = 400

func moment(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

// OpenCode is a code that waits to be used.
type OpenCode struct {
	Lab     record.LabID
	Name    string
	By      string
	Expires time.Time
}

// OpenCodes gives the codes of the scope's labs that are still good.
func (g *Registry) OpenCodes(ctx context.Context, sc scope.Scope) ([]OpenCode, error) {
	now := g.o.Now().UnixMilli()
	var out []OpenCode
	err := g.o.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for c, err := range g.codes.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			if c.UsedMS == 0 && !c.spent() && now < c.ExpiresMS && sc.Allows(c.Lab) {
				out = append(out, OpenCode{Lab: c.Lab, Name: c.Name, By: c.By, Expires: moment(c.ExpiresMS)})
			}
		}
		return nil
	})
	slices.SortFunc(out, func(a, b OpenCode) int { return a.Expires.Compare(b.Expires) })
	return out, err
}

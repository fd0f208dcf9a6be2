package exchange

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// Alarms, as they are stored.
const (
	AgentSetBack    = "agent_set_back"    // a node has less of its own chain than the server
	TwoHistories    = "two_histories"     // two records under one name: a copy, or a restored folder that went on
	ServerSetBack   = "server_set_back"   // the server once acknowledged more than it holds
	ChainClosed     = "chain_closed"      // a node closed a chain and goes on in another; Reason says why
	ServerGivenBack = "server_given_back" // a node returned records that the server had written and lost
	PeerRefused     = "peer_refused"      // a node sent what no honest one sends; Reason says what
	OtherLab        = "other_lab"         // a node asked for, or sent, what belongs to a lab or node that is not its own
	Replayed        = "session_replayed"  // a session that was proved once is played again
	RevokedTried    = "revoked_tried"     // a node that was withdrawn wants to connect
	WrongKey        = "wrong_key"         // somebody used a node's name and not its key
	ClockFarOff     = "clock_far_off"     // a node's clock differs from the server's; Reason says by how much
)

// ClockBound is how far a node's clock may be off before a person is told.
const ClockBound = 10 * time.Minute

// Alarm is a doubt, about continuity or about a peer, that a person has to hear
// of.
type Alarm struct {
	Kind   string
	Node   record.NodeID // whose session showed it
	Origin record.Origin
	Here   uint64 // records of the chain on the server
	There  uint64 // records of it that the node has, or has a receipt for
	Reason string // as the node gives it, for ChainClosed; else what was wrong
}

func (s *Service) alarm(ctx context.Context, a Alarm) {
	s.o.Log.Error("alarm", "alarm", a.Kind, "node", a.Node.String(), "origin", a.Origin.String(), "here", a.Here, "there", a.There, "reason", a.Reason)
	if s.o.Alarm == nil {
		return
	}
	if err := s.o.Alarm(ctx, a); err != nil {
		s.o.Log.Error("the alarm could not be kept", "error", err)
	}
}

// Refused raises an alarm where what a node was refused for is nothing that an
// honest one does. A cut connection, a gap or a full disk is none of that.
func (s *Service) Refused(ctx context.Context, node record.NodeID, err error) {
	kind := PeerRefused
	switch problem.Of(err) {
	case problem.Forbidden:
		kind = OtherLab
	case problem.Invalid, problem.Unauthenticated, problem.Damaged, problem.TooLarge:
	default:
		return
	}
	if p, ok := problem.As(err); ok && ctx.Err() == nil {
		s.alarm(ctx, Alarm{Kind: kind, Node: node, Reason: p.What})
	}
}

// KeyRefused raises an alarm about a node that could not prove who it is, or
// that was withdrawn.
func (s *Service) KeyRefused(ctx context.Context, node record.NodeID, withdrawn bool) {
	kind := WrongKey
	if withdrawn {
		kind = RevokedTried
	}
	s.alarm(ctx, Alarm{Kind: kind, Node: node})
}

// SessionReplayed raises an alarm about a sign-in of a node that came a second
// time: whoever sent it has read what the node had sent.
func (s *Service) SessionReplayed(ctx context.Context, node record.NodeID) {
	s.alarm(ctx, Alarm{Kind: Replayed, Node: node})
}

// clockOff raises an alarm about a node's clock that is far off.
func (v *view) clockOff(ctx context.Context, said, now time.Time) {
	off := said.Sub(now)
	if off.Abs() <= ClockBound {
		return
	}
	word := "ahead"
	if off < 0 {
		word = "behind"
	}
	unit, n := "minutes", off.Abs().Minutes()
	if n >= 48*60 {
		unit, n = "days", n/60/24
	} else if n >= 120 {
		unit, n = "hours", n/60
	}
	v.s.alarm(ctx, Alarm{Kind: ClockFarOff, Node: v.p.Node, Reason: fmt.Sprintf("%.0f %s %s", n, unit, word)})
}

// doubts compares what a node says of its chains, and the receipts that it
// shows, with what is here.
func (v *view) doubts(ctx context.Context, q *HelloRequest, vector []HeadEntry) error {
	said := map[record.Origin]HeadEntry{}
	for _, e := range v.own(q.Heads) {
		said[e.Origin] = e
	}
	here := map[record.Origin]HeadEntry{}
	for _, e := range vector {
		here[e.Origin] = e
		if e.Origin.Node != v.p.Node {
			continue
		}
		switch n := said[e.Origin]; {
		case n.Seq < e.Seq:
			v.s.alarm(ctx, Alarm{Kind: AgentSetBack, Node: v.p.Node, Origin: e.Origin, Here: e.Seq, There: n.Seq})
		case n.Seq == e.Seq && n.Hash != e.Hash:
			v.s.alarm(ctx, Alarm{Kind: TwoHistories, Node: v.p.Node, Origin: e.Origin, Here: e.Seq, There: n.Seq})
		}
	}
	for i := range q.Receipts {
		r := &q.Receipts[i]
		if r.Origin.Node != v.p.Node || !v.p.may(r.Origin.Lab) || r.Seq <= here[r.Origin].Seq || r.Verify(v.s.PublicKey()) != nil {
			continue
		}
		if err := v.s.wasSetBack(ctx, r.Incarnation); err != nil {
			return err
		}
		v.s.alarm(ctx, Alarm{Kind: ServerSetBack, Node: v.p.Node, Origin: r.Origin, Here: here[r.Origin].Seq, There: r.Seq})
	}
	return nil
}

// wasSetBack begins a new incarnation when a receipt of the present one covers
// more than is here: nobody said that the store was restored, but it was.
func (s *Service) wasSetBack(ctx context.Context, shown uuid.UUID) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if shown != s.incarnation {
		return nil // that it was restored is known
	}
	inc, err := NewIncarnation(ctx, s.o.Store)
	if err != nil {
		return fmt.Errorf("begin a new incarnation: %w", err)
	}
	s.incarnation = inc
	return continueOwn(ctx, s.o.Store, s.o.Ledger, inc)
}

// tellNewEpochs raises an alarm for every chain that begins because an earlier
// one was closed.
func (v *view) tellNewEpochs(ctx context.Context, r *record.Record) {
	var g record.Genesis
	if r.Seq != 1 || r.Kind != record.KindGenesis || record.DecodeBody(r.Body, &g) != nil || g.Predecessor == nil {
		return
	}
	v.s.alarm(ctx, Alarm{Kind: ChainClosed, Node: v.p.Node, Origin: g.Predecessor.Origin(), There: g.Predecessor.Seq, Reason: g.Predecessor.Reason})
}

// takeBack takes records that this server wrote itself, lost, and signed the
// head of.
func (v *view) takeBack(ctx context.Context, b *Batch) (receipt.Receipt, error) {
	if !v.p.may(b.Origin.Lab) {
		return receipt.Receipt{}, forbidden("This agent is not enrolled for the lab that the records belong to.")
	}
	recs, err := v.checkBatch(b, v.s.PublicKey())
	if err != nil {
		return receipt.Receipt{}, err
	}
	last := recs[len(recs)-1].Head()
	before, err := v.s.o.Ledger.Head(ctx, b.Origin)
	if err != nil {
		return receipt.Receipt{}, err
	}
	if err := v.s.roomForRecords(); err != nil {
		return receipt.Receipt{}, err
	}
	head, err := v.s.append(ctx, b.Origin, recs)
	ahead, fork := errors.Is(err, ledger.ErrOwnAhead), errors.Is(err, record.ErrFork)
	if err != nil && !ahead && !fork {
		return receipt.Receipt{}, v.notTaken(b, head, err)
	}
	if (ahead || fork) && v.s.o.Ledger.Own(b.Origin.Lab).Epoch <= b.Origin.Epoch {
		// What is signed was written: this store is older than the signature.
		if err := v.s.wasSetBack(ctx, v.s.Incarnation()); err != nil {
			return receipt.Receipt{}, err
		}
	}
	if fork {
		v.s.alarm(ctx, Alarm{Kind: TwoHistories, Node: v.p.Node, Origin: b.Origin, Here: head.Seq, There: last.Seq})
		if known, e := v.s.strandBehind(ctx, b, last); e != nil {
			return receipt.Receipt{}, e
		} else if known {
			return receipt.Receipt{}, v.notTaken(b, head, err)
		}
	}
	if head, err = v.s.append(ctx, b.Origin, recs); err != nil {
		return receipt.Receipt{}, v.notTaken(b, head, err)
	}
	if head != before {
		v.s.alarm(ctx, Alarm{Kind: ServerGivenBack, Node: v.p.Node, Origin: b.Origin, Here: before.Seq, There: head.Seq})
	}
	return v.s.receipt(ctx, b.Origin, head)
}

// strandBehind carries over what this server wrote in a chain after it was set
// back, so that what it had written and signed before can stand there again.
// It tells whether the returned history was here and was carried over before:
// then nothing was done.
func (s *Service) strandBehind(ctx context.Context, b *Batch, last record.Head) (known bool, err error) {
	first, err := record.Parse(b.Records[0])
	if err != nil {
		return false, err
	}
	if known, err = s.o.Ledger.Settled(ctx, b.Origin, first.Seq-1, last); err != nil || known {
		return known, err
	}
	_, err = s.o.Ledger.Strand(ctx, b.Origin, record.Head{Seq: first.Seq - 1, Hash: first.Prev},
		"an agent returned records of this chain that this server had written and lost")
	return false, err
}

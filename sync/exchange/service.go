package exchange

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// Principal is a node whose identity was proved, with its rights.
type Principal struct {
	Node record.NodeID
	Key  ed25519.PublicKey
	Labs []record.LabID // aliases of labs included
	// Aliases says of which of Labs the others are aliases.
	Aliases []Alias
}

func (p *Principal) may(lab record.LabID) bool {
	return lab != record.LabID{} && slices.Contains(p.Labs, lab)
}

// Report is what a server learns of a node from a hello.
type Report struct {
	Node           record.NodeID
	Heads          []HeadEntry
	PendingRecords int64
	PendingBytes   int64
	NodeTime       time.Time
	ServerTime     time.Time
	Software       string

	PendingAttachments int64
	OldestPending      time.Time // by the node's clock; zero: nothing is pending, or not told
	Stuck              string    // what the node says of its last failure

	HeardOf ed25519.PublicKey // the server's key to come that the node has pinned; nil: none
}

// ServiceOptions says what a service works on. Seen, Alarm, Log and Free may be
// nil.
type ServiceOptions struct {
	Ledger       *ledger.Ledger
	Blobs        blob.Store
	Store        kv.Store // the store of the ledger
	Key          ed25519.PrivateKey
	MaxBlobBytes int64 // 0: 4 GiB
	// Free gives the free and all bytes of the disk; nil: asks Blobs, if it can
	// tell.
	Free func() (free, total int64, err error)
	Now  func() time.Time
	Log  *slog.Logger
	Seen func(context.Context, Report) error
	// Gone says which attachments of a lab are erased: they are not asked for,
	// and not kept when they come. nil: none.
	Gone func(context.Context, record.LabID, record.Hash) (bool, error)
	// NextKey is the key that the server will go on with; nil: none. Agents that
	// connect while it is announced take it in.
	NextKey ed25519.PrivateKey
	// Rekeyed keeps a node's new key, durably; nil: keys do not change.
	Rekeyed func(context.Context, Rekey) error
	// Alarm is told of doubts about continuity and peers; it may be told the same again.
	Alarm func(context.Context, Alarm) error
}

// Service answers sessions from a ledger. It acknowledges only what the
// ledger and the blob store have made durable.
type Service struct {
	o    ServiceOptions
	node record.NodeID

	mu          sync.Mutex
	incarnation uuid.UUID
	key, next   ed25519.PrivateKey // of now, and announced (nil: none)
	commits     *Turns
}

// NewService makes a service; it reads, or makes at first use, the incarnation
// of the store.
func NewService(ctx context.Context, o ServiceOptions) (*Service, error) {
	if o.Ledger == nil || o.Blobs == nil || o.Store == nil || len(o.Key) != ed25519.PrivateKeySize {
		return nil, errors.New("exchange: a service needs a ledger, blobs, a store and a key")
	}
	if o.MaxBlobBytes <= 0 {
		o.MaxBlobBytes = 4 << 30
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Free == nil {
		o.Free = freeOf(o.Blobs)
	}
	inc, err := loadIncarnation(ctx, o.Store)
	if err != nil {
		return nil, fmt.Errorf("read the incarnation: %w", err)
	}
	if err := continueOwn(ctx, o.Store, o.Ledger, inc); err != nil {
		return nil, err
	}
	return &Service{o: o, node: o.Ledger.Node(), incarnation: inc, key: o.Key, next: o.NextKey, commits: NewTurns(commitsAtOnce, commitsAtOnce, 64)}, nil
}

// Node gives the identity that the service signs as.
func (s *Service) Node() record.NodeID { return s.node }

// Incarnation changes when the store was restored from a backup.
func (s *Service) Incarnation() uuid.UUID {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.incarnation
}

// PublicKey verifies what the service signs.
func (s *Service) PublicKey() ed25519.PublicKey {
	key, _ := s.keys()
	return key.Public().(ed25519.PublicKey)
}

func (s *Service) keys() (key, next ed25519.PrivateKey) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.key, s.next
}

// SetKeys changes what the service signs with from now on, and what it announces
// to come; a nil next announces nothing.
func (s *Service) SetKeys(key, next ed25519.PrivateKey) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.key, s.next = key, next
}

// SealEnrolAnswer signs the answer to an enrolment.
func (s *Service) SealEnrolAnswer(q *Signed, a *EnrolAnswer) (Signed, error) {
	key, _ := s.keys()
	return SealEnrolAnswer(key, q, a)
}

// Now is the service's clock.
func (s *Service) Now() time.Time { return s.o.Now() }

// For gives the service as one principal sees it.
func (s *Service) For(p Principal) Peer { return &view{s: s, p: p} }

// view is the service within the rights of one principal.
type view struct {
	s *Service
	p Principal
}

var _ Peer = (*view)(nil)

// Hello answers with heads and receipts of the principal's labs.
func (v *view) Hello(ctx context.Context, q HelloRequest) (SignedWelcome, error) {
	if q.Node != v.p.Node {
		return SignedWelcome{}, forbidden("A hello in the name of another node.")
	}
	if len(q.Nonce) != NonceSize {
		return SignedWelcome{}, problem.New(problem.Invalid,
			fmt.Sprintf("The nonce has %d bytes, want %d.", len(q.Nonce), NonceSize), "Update the agent.")
	}
	protocol := common(q.Protocols)
	if protocol == 0 {
		return SignedWelcome{}, problem.New(problem.Unavailable,
			fmt.Sprintf("The agent speaks the protocols %v, this server speaks %v.", q.Protocols, Protocols()),
			"Update the older of the two; the agent keeps everything until then.")
	}
	now := v.s.o.Now()
	if err := v.rekey(ctx, &q); err != nil {
		return SignedWelcome{}, err
	}
	vector, err := v.vector(ctx)
	if err != nil {
		return SignedWelcome{}, err
	}
	if err := v.doubts(ctx, &q, vector); err != nil {
		return SignedWelcome{}, err
	}
	v.clockOff(ctx, time.UnixMilli(q.TimeMS), now)
	w := Welcome{Protocol: protocol, Server: v.s.node, Incarnation: v.s.Incarnation(), TimeMS: now.UnixMilli(),
		Labs: v.p.Labs, Aliases: v.p.Aliases, Vector: vector, MaxBatchBytes: MaxBatchBytes, MaxBlobBytes: v.s.o.MaxBlobBytes, NodeKey: v.p.Key}
	key, next := v.s.keys()
	if next != nil {
		w.ServerRekey = NewRekey(v.s.node, key, next)
	}
	for i, e := range vector {
		if e.Origin.Node == v.s.node {
			vector[i].Signature = receipt.SignHead(key, e.Origin, e.Head())
		}
		if e.Origin.Node == v.p.Node {
			r, err := v.s.receipt(ctx, e.Origin, e.Head())
			if err != nil {
				return SignedWelcome{}, err
			}
			w.Receipts = append(w.Receipts, r)
		}
	}
	if v.s.o.Seen != nil {
		err := v.s.o.Seen(ctx, Report{Node: q.Node, Heads: v.own(q.Heads), PendingRecords: q.PendingRecords,
			PendingBytes: q.PendingBytes, NodeTime: time.UnixMilli(q.TimeMS).UTC(), ServerTime: now, Software: q.Software,
			PendingAttachments: max(0, q.PendingAttachments), OldestPending: momentOf(q.OldestPendingMS), Stuck: q.Stuck, HeardOf: q.ServerNext})
		if err != nil {
			return SignedWelcome{}, fmt.Errorf("keep the report of %s: %w", q.Node, err)
		}
	}
	return signWelcome(key, &q, &w)
}

// common gives the highest version that both sides speak, or 0.
func common(theirs []uint) uint {
	for _, p := range slices.Backward(Protocols()) {
		if slices.Contains(theirs, p) {
			return p
		}
	}
	return 0
}

func momentOf(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

// vector gives the heads of all chains of the principal's labs, in a fixed order.
func (v *view) vector(ctx context.Context) ([]HeadEntry, error) {
	heads, err := v.s.o.Ledger.Heads(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the heads: %w", err)
	}
	var out []HeadEntry
	for o, h := range heads {
		if v.p.may(o.Lab) && h.Seq > 0 {
			out = append(out, HeadEntry{Origin: o, Seq: h.Seq, Hash: h.Hash})
		}
	}
	slices.SortFunc(out, func(a, b HeadEntry) int { return compareOrigins(a.Origin, b.Origin) })
	return out, nil
}

// own keeps of a reported vector what the principal may speak of.
func (v *view) own(heads []HeadEntry) []HeadEntry {
	return slices.DeleteFunc(slices.Clone(heads), func(e HeadEntry) bool {
		return e.Origin.Node != v.p.Node || !v.p.may(e.Origin.Lab)
	})
}

func compareOrigins(a, b record.Origin) int { return strings.Compare(originKey(a), originKey(b)) }

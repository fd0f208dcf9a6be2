package exchange

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Options says what a session works on. Fetch, Progress, Now, Log and Batch
// may be nil.
type Options struct {
	Ledger   *ledger.Ledger
	Blobs    blob.Store
	Store    kv.Store // receipts are kept here
	Key      ed25519.PrivateKey
	NextKey  ed25519.PrivateKey // to go on with, once the server has taken it; nil: none
	Server   Pinned
	Software string
	Pending  Pending // told to the server, so that it can show how far behind the node is
	// Fetch says which attachments of pulled records are wanted here; nil: none.
	Fetch    func(*record.Record, record.Attachment) bool
	Progress func(Progress)
	Batch    *BatchSize // kept from session to session, so that a slow link is remembered
	Streams  int        // attachments sent at once; 0: 3
	Now      func() time.Time
	Log      *slog.Logger
}

// Pending is what a node has not handed over yet.
type Pending struct {
	Records int64
	Bytes   int64
}

// Progress tells how far a session is. Counts are of this session.
type Progress struct {
	RecordsSent, RecordsLeft int64
	BlobsSent                int64
	BytesSent                int64 // records and attachments
	RecordsReceived          int64
	BlobsReceived            int64
	GivenBack                int64 // records of the server's own that it had lost
	Rehomed                  int64 // records of a closed chain that were carried over into the next one
}

// Result is what a session found and did; it is meaningful beside an error too.
type Result struct {
	Welcomed    bool // the server's signature was right
	Incarnation uuid.UUID
	Labs        []record.LabID
	ServerTime  time.Time
	ClockOffset time.Duration // this node's clock minus the server's
	RoundTrip   time.Duration
	Progress
	Notices []Notice

	Rekeyed       bool              // the server checks by Options.NextKey from now on
	ServerKey     ed25519.PublicKey // that the server signed with
	ServerNextKey ed25519.PublicKey // that it announced, signed by both; nil: none
}

// Notice is something that a person should know and that did not stop the rest.
type Notice struct {
	Origin record.Origin // zero where it is not about one chain
	Err    error         // carries a problem
}

// session is one run.
type session struct {
	o      Options
	peer   Peer
	res    *Result
	w      *Welcome
	own    []*ownChain
	closed map[record.Origin]bool // chains left alone for the rest of the session
	back   map[record.Origin]bool // closed chains of ours that are fetched back as history
}

// Run holds one session with a peer and returns when both sides have what they
// may have, or with the error that ended it. It may be cut at any point; the
// next run goes on from what the peer has. Everything a run keeps (records,
// receipts) is durable before the next step.
func Run(ctx context.Context, o Options, peer Peer) (Result, error) {
	var res Result
	if o.Ledger == nil || o.Blobs == nil || o.Store == nil || len(o.Key) != ed25519.PrivateKeySize {
		return res, errors.New("exchange: a session needs a ledger, blobs, a store and a key")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Batch == nil {
		o.Batch = &BatchSize{}
	}
	if o.Streams <= 0 {
		o.Streams = 3
	}
	s := &session{o: o, peer: peer, res: &res, closed: map[record.Origin]bool{}, back: map[record.Origin]bool{}}
	err := s.run(ctx)
	return res, err
}

func (s *session) run(ctx context.Context) error {
	if err := s.hello(ctx); err != nil {
		return err
	}
	if err := s.keepSignedHeads(ctx); err != nil {
		return err
	}
	if err := s.giveBack(ctx); err != nil {
		return err
	}
	if err := s.findOwn(ctx); err != nil {
		return err
	}
	if err := s.pushAll(ctx); err != nil {
		return err
	}
	if err := s.pull(ctx); err != nil {
		return err
	}
	for { // one page of attachments, then records that came in meanwhile
		more, err := s.sendBlobsPage(ctx)
		if err != nil {
			return err
		}
		if err := s.pushAll(ctx); err != nil {
			return err
		}
		if !more && !s.blobsLeft() {
			return nil
		}
	}
}

// heads gives the heads of all chains that can be read; damage to one stops
// that one only.
func (s *session) heads(ctx context.Context) (map[record.Origin]record.Head, error) {
	heads, err := s.o.Ledger.Heads(ctx)
	if err != nil && problem.Of(err) != problem.Damaged {
		return nil, fmt.Errorf("read the heads: %w", err)
	}
	if err != nil {
		s.o.Log.Error("some heads cannot be read", "error", err)
	}
	return heads, nil
}

func (s *session) hello(ctx context.Context) error {
	heads, err := s.heads(ctx)
	if err != nil {
		return err
	}
	q := HelloRequest{Protocols: []uint{Protocol}, Node: s.o.Ledger.Node(), Nonce: make([]byte, NonceSize),
		PendingRecords: s.o.Pending.Records, PendingBytes: s.o.Pending.Bytes, Software: s.o.Software}
	for o, h := range heads {
		if o.Node == q.Node && h.Seq > 0 {
			q.Heads = append(q.Heads, HeadEntry{Origin: o, Seq: h.Seq, Hash: h.Hash})
		}
	}
	slices.SortFunc(q.Heads, func(a, b HeadEntry) int { return compareOrigins(a.Origin, b.Origin) })
	if s.o.NextKey != nil {
		q.Rekey = NewRekey(q.Node, s.o.Key, s.o.NextKey)
	}
	if q.Receipts, err = s.shownReceipts(ctx); err != nil {
		return err
	}
	if _, err := rand.Read(q.Nonce); err != nil {
		return err
	}
	sent := s.o.Now()
	q.TimeMS = sent.UnixMilli()
	answer, err := s.peer.Hello(ctx, q)
	if err != nil {
		return fmt.Errorf("greet the server: %w", err)
	}
	back := s.o.Now()
	w, err := answer.Open(s.o.Server, &q)
	if err != nil {
		return err
	}
	s.w = w
	s.res.Welcomed = true
	if err := s.takeKeys(&answer, &q); err != nil {
		return err
	}
	s.res.Labs, s.res.Incarnation = w.Labs, w.Incarnation
	s.res.ServerTime = time.UnixMilli(w.TimeMS).UTC()
	s.res.RoundTrip = back.Sub(sent)
	middle := sent.Add(s.res.RoundTrip / 2)
	s.res.ClockOffset = middle.Sub(s.res.ServerTime).Round(time.Millisecond)
	return nil
}

// takeKeys goes on with the keys that both sides agree on.
func (s *session) takeKeys(answer *SignedWelcome, q *HelloRequest) error {
	s.res.ServerKey, _ = s.o.Server.signer(answer, q)
	s.o.Server.Key = s.res.ServerKey
	if r := s.w.ServerRekey; r != nil {
		if err := r.Verify(s.o.Server.ID, s.o.Server.Key); err != nil {
			return notTheServer(err)
		}
		s.res.ServerNextKey = r.New
	}
	if s.o.NextKey != nil && bytes.Equal(s.w.NodeKey, s.o.NextKey.Public().(ed25519.PublicKey)) {
		s.o.Key, s.res.Rekeyed = s.o.NextKey, true
	}
	return nil
}

func (s *session) hasLab(lab record.LabID) bool { return slices.Contains(s.w.Labs, lab) }

// leave lets a chain alone for the rest of the session, and says why.
func (s *session) leave(o record.Origin, err error) {
	s.closed[o] = true
	s.own = slices.DeleteFunc(s.own, func(c *ownChain) bool { return c.origin == o })
	s.notice(o, err)
}

func (s *session) notice(o record.Origin, err error) {
	s.res.Notices = append(s.res.Notices, Notice{Origin: o, Err: err})
}

func (s *session) progress() {
	if s.o.Progress != nil {
		s.o.Progress(s.res.Progress)
	}
}

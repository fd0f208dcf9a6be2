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
	"sync/atomic"
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
	// Only says which labs the session is about, where the node holds others that
	// the server must not hear of and has no say in; nil: all.
	Only func(context.Context, record.LabID) (bool, error)
	// Rights keeps which labs hold which bytes, where the node serves several
	// labs: bytes count as here once this server showed all of them for the lab
	// in question, whoever brought them before. nil: the node is one lab's.
	Rights Rights
	// Aliases hears of the other names of labs that the server knows, before
	// anything else is done with its answer; nil: nobody does.
	Aliases func(context.Context, []Alias) error
	// Gone says which attachments of a lab are erased: they are neither fetched
	// nor sent. nil: none.
	Gone func(context.Context, record.LabID, record.Hash) (bool, error)
	// Handed hears of attachments that the server is known to hold although a
	// receipt does not say so yet; nil: nobody does.
	Handed  func(record.Hash)
	Batch   *BatchSize // kept from session to session, so that a slow link is remembered
	Streams int        // attachments sent at once; 0: 3, and 8 small ones on a quick line
	// Slice ends a session with Result.More when it has run for so long and
	// attachments are still to be moved, so that the next one greets the server
	// anew; 0: never.
	Slice time.Duration
	Now   func() time.Time
	Log   *slog.Logger
}

// Rights is what a Service keeps of them.
type Rights interface {
	Holds(ctx context.Context, lab record.LabID, h record.Hash) (bool, error)
	Hold(ctx context.Context, lab record.LabID, h record.Hash, size int64) error
}

// Pending is what a node has not handed over yet.
type Pending struct {
	Records     int64
	Bytes       int64
	Attachments int64
	Oldest      time.Time // when the oldest of it was written, by this node's clock
	Stuck       string    // why the session before failed, in words
}

// Progress tells how far a session is. Counts are of this session.
type Progress struct {
	RecordsSent, RecordsLeft int64
	BlobsSent                int64
	BytesSent                int64 // records and attachments
	RecordsReceived          int64
	BlobsReceived            int64
	GivenBack                int64        // records of the server's own that it had lost
	Rehomed                  int64        // records of a closed chain that were carried over into the next one
	File                     FileProgress // the one that moved last
}

// FileProgress tells how much of an attachment the server has.
type FileProgress struct {
	SHA256     record.Hash
	Done, Size int64
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
	More    bool // the session ended before all was moved, to go on at once
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

	began             time.Time
	fetched, returned [classes]bool
	paused            atomic.Bool // attachments wait for something more urgent
	any               atomic.Bool // bytes of an attachment were moved

	mu     sync.Mutex // guards what follows and res, while attachments are sent
	noRoom int64      // the smallest size that the server refused for want of space; 0: none
	failed error      // of an attachment; ends the session after everything else
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
	s := &session{o: o, peer: peer, res: &res, began: o.Now(), closed: map[record.Origin]bool{}, back: map[record.Origin]bool{}}
	err := s.run(ctx)
	return res, err
}

func (s *session) run(ctx context.Context) error {
	if err := s.hello(ctx); err != nil {
		return err
	}
	if err := s.narrow(ctx); err != nil {
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
	for { // a piece of the most urgent attachments, then records that came in meanwhile
		more, err := s.attachments(ctx)
		if err != nil {
			return err
		}
		if more && s.over() && s.any.Load() { // never without having moved something
			s.res.More = true
			return s.failed
		}
		s.paused.Store(false)
		before := s.res.RecordsSent
		if err := s.pushAll(ctx); err != nil {
			return err
		}
		if !more && s.res.RecordsSent == before { // else there may be attachments to them
			return s.failed
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
	if s.o.Only == nil {
		return heads, nil
	}
	for o := range heads {
		ok, err := s.about(ctx, o.Lab)
		if err != nil {
			return nil, err
		}
		if !ok {
			delete(heads, o)
		}
	}
	return heads, nil
}

// leave lets a chain alone for the rest of the session, and says why.
func (s *session) leave(o record.Origin, err error) {
	s.closed[o] = true
	s.own = slices.DeleteFunc(s.own, func(c *ownChain) bool { return c.origin == o })
	s.notice(o, err)
}

func (s *session) notice(o record.Origin, err error) {
	s.res.Notices = append(s.res.Notices, Notice{Origin: o, Err: err})
}

// noticeOnce leaves out what was told in the same words.
func (s *session) noticeOnce(o record.Origin, err error) {
	for _, n := range s.res.Notices {
		if n.Err.Error() == err.Error() || problem.Of(err) == problem.NoSpace && problem.Of(n.Err) == problem.NoSpace {
			return
		}
	}
	s.notice(o, err)
}

// sees says whether the server lets this node read a lab.
func (s *session) sees(lab record.LabID) bool { return slices.Contains(s.w.Labs, lab) }

// maxStuck bounds what a node tells of its last failure, in bytes.
const maxStuck = 400

func clipped(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "")
}

func (s *session) progress() {
	if s.o.Progress != nil {
		s.o.Progress(s.res.Progress)
	}
}

// Package pool fetches whole labs from other servers, so that people who look
// after several labs see them in one place. To another server this one is a
// node like any other: it comes in by a one-time code of that server, hands over
// what people wrote here about the lab, and takes all that is there.
//
// A server has a say in the lab that its code was for and in no other: what it
// tells of other labs is not asked for, and refused when it comes.
package pool

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"

	"thudbook/server/enrol"
	"thudbook/sync/blob"
	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
	"thudbook/sync/uplink"
)

// Options says what a pool works on; all but Roots, Gone and Every are required.
type Options struct {
	Ledger   *ledger.Ledger
	Blobs    blob.Store
	Store    kv.Store // the store of the ledger
	Rights   exchange.Rights
	Agents   *enrol.Registry
	Known    func(context.Context) ([]record.LabID, error) // labs that have records here
	Software string
	Roots    *x509.CertPool // authorities beside the system's; nil: those of the system
	Gone     func(context.Context, record.LabID, record.Hash) (bool, error)
	Every    time.Duration // between sessions when nothing happens; 0: as an agent
	Now      func() time.Time
	Log      *slog.Logger
}

// Source is a lab that is fetched from another server.
type Source struct {
	ID        uuid.UUID     `json:"id"`
	URL       string        `json:"url"`
	Server    record.NodeID `json:"server"`
	Lab       record.LabID  `json:"lab"`
	AddedMS   int64         `json:"added_ms"`
	AddedBy   string        `json:"added_by"`
	StoppedMS int64         `json:"stopped_ms,omitempty"` // 0: it is fetched
	StoppedBy string        `json:"stopped_by,omitempty"`
}

// Added is when fetching began.
func (s *Source) Added() time.Time { return time.UnixMilli(s.AddedMS).UTC() }

// Stopped is when fetching ended; zero: it goes on.
func (s *Source) Stopped() time.Time {
	if s.StoppedMS == 0 {
		return time.Time{}
	}
	return time.UnixMilli(s.StoppedMS).UTC()
}

func sources() *index.Table[Source] {
	return &index.Table[Source]{Name: "pool.source", Key: func(s *Source) []byte { return s.ID[:] }}
}

// Pool is safe for concurrent use.
type Pool struct {
	o       Options
	sources *index.Table[Source]

	adding sync.Mutex // one at a time
	mu     sync.Mutex
	ctx    context.Context // of Run; nil: not running
	links  map[uuid.UUID]*link
	all    sync.WaitGroup
}

// link is a source that is fetched.
type link struct {
	uplink *uplink.Uplink
	stop   context.CancelFunc
	ended  chan struct{}
}

// Open reads which labs are fetched from where. Nothing moves before Run.
func Open(ctx context.Context, o Options) (*Pool, error) {
	if o.Ledger == nil || o.Blobs == nil || o.Store == nil || o.Rights == nil || o.Agents == nil || o.Known == nil || o.Now == nil || o.Log == nil {
		return nil, errors.New("pool: a ledger, blobs, a store, rights, the list of agents, known labs, a clock and a log are needed")
	}
	p := &Pool{o: o, sources: sources(), links: map[uuid.UUID]*link{}}
	all, err := p.list(ctx)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if all[i].StoppedMS != 0 {
			continue
		}
		u, err := p.open(ctx, all[i].ID, func() record.LabID { return all[i].Lab }, func() record.NodeID { return all[i].Server })
		if err != nil {
			return nil, err
		}
		p.links[all[i].ID] = &link{uplink: u}
	}
	return p, nil
}

// open makes the uplink of a source. of gives the lab that it is about, server the
// server that it comes from.
func (p *Pool) open(ctx context.Context, id uuid.UUID, of func() record.LabID, server func() record.NodeID) (*uplink.Uplink, error) {
	store := keys{p, server}
	key, err := store.pair(ctx)
	if err != nil {
		return nil, err
	}
	u, err := uplink.Open(ctx, uplink.Options{Ledger: p.o.Ledger, Blobs: p.o.Blobs, Store: p.o.Store, Key: key.present, NextKey: key.next, Keys: store, Software: p.o.Software,
		Roots: p.o.Roots, Fetch: wanted, Gone: p.o.Gone, Slot: id.String(), Rights: p.o.Rights, Every: p.o.Every, Now: p.o.Now, Log: p.o.Log,
		Only: func(ctx context.Context, l record.LabID) (bool, error) {
			real, err := p.o.Agents.Resolve(ctx, l)
			return err == nil && real == of(), err
		},
		Aliases: func(ctx context.Context, told []exchange.Alias) error { return p.adopt(ctx, of(), told) },
	})
	if err != nil {
		return nil, fmt.Errorf("open the way to another server: %w", err)
	}
	return u, nil
}

// wanted says which attachments are fetched: all but the cards of people, who
// sign in at their own lab.
func wanted(r *record.Record, a record.Attachment) bool {
	return r.Kind != lab.KindPerson || a.Role != lab.RolePerson
}

// adopt takes in other names of a lab, as far as they can be: an id under which
// this server holds records already is no other name of anything.
func (p *Pool) adopt(ctx context.Context, of record.LabID, told []exchange.Alias) error {
	var known []record.LabID
	for _, a := range told {
		if a.Lab != of || a.Node == p.o.Ledger.Node() {
			continue
		}
		if known == nil {
			var err error
			if known, err = p.o.Known(ctx); err != nil {
				return err
			}
		}
		if err := p.o.Agents.Adopt(ctx, a, known); err != nil {
			return err
		}
	}
	return nil
}

// Run fetches until ctx ends, and returns nil then: a server that cannot be
// reached is no error.
func (p *Pool) Run(ctx context.Context) error {
	p.mu.Lock()
	p.ctx = ctx
	for _, l := range p.links {
		p.begin(l)
	}
	p.mu.Unlock()
	p.watch(ctx)
	p.mu.Lock()
	p.ctx = nil // none is begun from now on
	p.mu.Unlock()
	p.all.Wait()
	return nil
}

// begin starts a link; the caller holds the lock.
func (p *Pool) begin(l *link) {
	if p.ctx == nil {
		return
	}
	ctx, stop := context.WithCancel(p.ctx)
	l.stop, l.ended = stop, make(chan struct{})
	p.all.Go(func() {
		defer close(l.ended)
		defer stop()
		if err := l.uplink.Run(ctx); err != nil {
			p.o.Log.Error("fetching from another server ended", "error", err)
		}
	})
}

// Wake asks all servers now.
func (p *Pool) Wake() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, l := range p.links {
		l.uplink.Wake()
	}
}

func (p *Pool) list(ctx context.Context) ([]Source, error) {
	var out []Source
	err := p.o.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for s, err := range p.sources.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			out = append(out, *s)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read which labs are fetched: %w", err)
	}
	return out, nil
}

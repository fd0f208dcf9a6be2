package pool

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/uplink"
)

// The kinds of facts about sources, in the server-wide chain; the UID is the
// source's id, the body a Source.
const (
	KindAdded   record.Kind = "pool.added"
	KindStopped record.Kind = "pool.stopped"
)

var serverWide record.LabID // the zero lab; never changed

// Add begins to fetch a lab from another server, by a code that somebody made
// there. A lab that is fetched already, or that lives here, is a conflict.
func (p *Pool) Add(ctx context.Context, url, code, by string) (Source, error) {
	p.adding.Lock()
	defer p.adding.Unlock()
	before, err := p.list(ctx)
	if err != nil {
		return Source{}, err
	}
	id, err := uuid.NewRandom()
	if err != nil {
		return Source{}, err
	}
	var of record.LabID
	var server record.NodeID
	for _, b := range before { // a server knows one key of this one
		if b.URL == url && b.StoppedMS == 0 {
			server = b.Server
		}
	}
	u, err := p.open(ctx, id, func() record.LabID { return of }, func() record.NodeID { return server })
	if err != nil {
		return Source{}, err
	}
	if err := u.Enrol(ctx, url, code); err != nil {
		return Source{}, errors.Join(err, u.Forget(ctx))
	}
	s, _ := u.Settings()
	of, server = s.Lab, s.Server
	src := Source{ID: id, URL: s.URL, Server: s.Server, Lab: s.Lab, AddedMS: p.o.Now().UnixMilli(), AddedBy: by}
	if err := p.fits(ctx, before, &src); err != nil {
		return src, errors.Join(err, u.Forget(ctx))
	}
	if err := p.keep(ctx, KindAdded, by, &src); err != nil {
		return src, errors.Join(err, u.Forget(ctx))
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	l := &link{uplink: u}
	p.links[id] = l
	p.begin(l)
	p.o.Log.Info("a lab is fetched from another server", "url", src.URL, "server", src.Server.String(), "lab", src.Lab.String(), "by", by)
	return src, nil
}

// fits refuses a lab that would come from two places.
func (p *Pool) fits(ctx context.Context, before []Source, s *Source) error {
	if s.Server == p.o.Ledger.Node() {
		return problem.New(problem.Invalid, "The code is one of this server itself.", "Make the code on the server that the lab's agents send to, and give that server's address.")
	}
	fetchedHere := false
	for _, b := range before {
		if b.Lab != s.Lab {
			continue
		}
		if b.StoppedMS == 0 {
			return &problem.Error{Code: problem.Conflict, Where: "lab " + s.Lab.String(),
				What: "This lab is fetched already, from " + b.URL + ".", Fix: "Stop that first, if the lab has moved to another server."}
		}
		fetchedHere = true
	}
	known, err := p.o.Known(ctx)
	if err != nil {
		return err
	}
	if slices.Contains(known, s.Lab) && !fetchedHere {
		return &problem.Error{Code: problem.Conflict, Where: "lab " + s.Lab.String(),
			What: "A lab of this identity lives on this server already; two servers would both be its home.",
			Fix:  "Let one of the two be the lab's server: the other one fetches from it. If this server was made from a copy of that one's folder, start it anew with an empty one."}
	}
	return nil
}

// keep writes a source and the fact of it.
func (p *Pool) keep(ctx context.Context, kind record.Kind, by string, s *Source) error {
	_, err := p.o.Ledger.AppendWith(ctx, serverWide, func(tx kv.Tx) ([]ledger.Draft, error) {
		if err := p.sources.Put(tx, s); err != nil {
			return nil, err
		}
		body, err := record.EncodeBody(s)
		return []ledger.Draft{{Kind: kind, Schema: 1, Author: by, UID: s.ID, Body: body}}, err
	})
	if err != nil {
		return fmt.Errorf("keep which lab is fetched: %w", err)
	}
	return nil
}

// Stop ends fetching; what came stays. It waits for a session that is under way.
func (p *Pool) Stop(ctx context.Context, id uuid.UUID, by string) error {
	p.adding.Lock()
	defer p.adding.Unlock()
	all, err := p.list(ctx)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(all, func(s Source) bool { return s.ID == id && s.StoppedMS == 0 })
	if at < 0 {
		return problem.New(problem.NotFound, "No lab is fetched under this id.", "Look at the list of other servers.")
	}
	p.mu.Lock()
	l := p.links[id]
	delete(p.links, id)
	p.mu.Unlock()
	if l != nil && l.stop != nil {
		l.stop()
		<-l.ended
	}
	s := all[at]
	s.StoppedMS, s.StoppedBy = p.o.Now().UnixMilli(), by
	if err := p.keep(ctx, KindStopped, by, &s); err != nil {
		if l != nil { // it goes on, as the list says
			p.mu.Lock()
			defer p.mu.Unlock()
			p.links[id] = l
			p.begin(l)
		}
		return err
	}
	if l != nil {
		return l.uplink.Forget(ctx)
	}
	return nil
}

// Status is a source and how it stands.
type Status struct {
	Source
	State uplink.State      // zero when it was stopped
	Key   ed25519.PublicKey // that the other server proves itself with; nil when it was stopped

	OwnKey      ed25519.PublicKey // that this server proves itself with there; nil when it was stopped
	KeyChanging bool              // a new one waits for the other server to take it
}

// List gives the sources of the scope's labs, those that are fetched first.
func (p *Pool) List(ctx context.Context, sc scope.Scope) ([]Status, error) {
	all, err := p.list(ctx)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	links := make(map[uuid.UUID]*uplink.Uplink, len(p.links))
	for id, l := range p.links {
		links[id] = l.uplink
	}
	p.mu.Unlock()
	out := make([]Status, 0, len(all))
	for _, s := range all {
		if !sc.Allows(s.Lab) {
			continue
		}
		st := Status{Source: s}
		if u := links[s.ID]; u != nil {
			if st.State, err = u.State(ctx); err != nil {
				return nil, err
			}
			if set, ok := u.Settings(); ok {
				st.Key = set.ServerKey
			}
			st.OwnKey, st.KeyChanging = u.PublicKey(), u.KeyChanging()
		}
		out = append(out, st)
	}
	slices.SortFunc(out, func(a, b Status) int {
		if fetched := a.StoppedMS == 0; fetched != (b.StoppedMS == 0) {
			if fetched {
				return -1
			}
			return 1
		}
		return int(min(1, max(-1, a.AddedMS-b.AddedMS)))
	})
	return out, nil
}

package uplink_test

import (
	"bytes"
	"crypto/ed25519"
	"testing"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/node"
	"thudbook/sync/uplink"
)

// folder keeps keys in a node's data folder, as the agent does.
type folder struct{ dir string }

func (f folder) Prepare() (ed25519.PrivateKey, error) {
	id, err := node.Prepare(f.dir)
	return id.Next, err
}

func (f folder) Promote() error {
	_, err := node.Promote(f.dir)
	return err
}

func (s *site) opened(t *testing.T) *uplink.Uplink {
	t.Helper()
	id, err := node.Load(s.agent.Dir)
	if err != nil {
		t.Fatal(err)
	}
	s.agent.Node = id
	return open(t, s.agent, uplink.Options{MinBackoff: time.Millisecond, MaxBackoff: 50 * time.Millisecond,
		NextKey: id.Next, FirstKey: id.First, Keys: folder{s.agent.Dir}})
}

func inStep(st uplink.State) bool { return st.Connected && st.PendingRecords == 0 && !st.Running }

// The agent's key is changed: the server takes it on the word of both keys, and
// the chain goes on. The answer may be lost, and the agent stopped, in between.
func TestAgentChangesItsKey(t *testing.T) {
	t.Parallel()
	for name, lost := range map[string]bool{"answered": false, "answer lost": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newSite(t, nil)
			u := s.opened(t)
			local := u.LocalLab()
			exchangetest.Shots(t, s.agent, local, 1, 10)
			if err := u.Enrol(t.Context(), s.web.URL, s.code(t)); err != nil {
				t.Fatal(err)
			}
			stop := start(t, u)
			exchangetest.Shots(t, s.agent, u.Lab(), 2, 10)
			u.Wake()
			until(t, u, "in step", inStep)
			chain, old := s.agent.Own(s.lab), s.agent.Node.PublicKey()
			stop()
			s.loseHello.Store(lost)
			if err := u.RotateKey(); err != nil {
				t.Fatal(err)
			}
			u = s.opened(t) // a restart between preparing and telling
			stop = start(t, u)
			defer func() { stop() }()
			exchangetest.Shots(t, s.agent, u.Lab(), 1, 10)
			u.Wake()
			until(t, u, "in step under the new key", func(st uplink.State) bool {
				p, err := s.registry.Principal(t.Context(), s.agent.Node.ID)
				return err == nil && !bytes.Equal(p.Key, old) && inStep(st)
			})
			stop()
			id, err := node.Load(s.agent.Dir)
			if err != nil || id.Next != nil || bytes.Equal(id.PublicKey(), old) || !bytes.Equal(id.First, old) || id.ID != s.agent.Node.ID {
				t.Errorf("the folder holds %v, next %v, %v", id, id.Next != nil, err)
			}
			u = s.opened(t) // and everything works on after a restart
			stop = start(t, u)
			exchangetest.Shots(t, s.agent, u.Lab(), 1, 10)
			u.Wake()
			until(t, u, "in step after a restart", inStep)
			if u.LocalLab() != local {
				t.Error("the lab from before the enrolment changed with the key")
			}
			if now := s.agent.Own(s.lab); now != chain {
				t.Errorf("the chain %s was left for %s", chain, now)
			}
			exchangetest.Same(t, s.agent, s.server, true, s.lab, local)
			found := 0
			for r, err := range s.server.All(t.Context()) {
				if err != nil {
					t.Fatal(err)
				}
				if r.Kind == exchange.KindRekeyed {
					found++
				}
			}
			if found != 1 {
				t.Errorf("the chain tells of %d changes of key, want 1", found)
			}
		})
	}
}

// A change of key that the old key did not sign changes nothing.
func TestForgedChangeOfKeyIsRefused(t *testing.T) {
	t.Parallel()
	s := newSite(t, nil)
	u := s.opened(t)
	if err := u.Enrol(t.Context(), s.web.URL, s.code(t)); err != nil {
		t.Fatal(err)
	}
	_, thief, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	_, other, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.registry.Principal(t.Context(), s.agent.Node.ID)
	if err != nil {
		t.Fatal(err)
	}
	forged := exchange.NewRekey(s.agent.Node.ID, thief, other)
	forged.Old = p.Key
	for name, r := range map[string]*exchange.Rekey{"another old key": exchange.NewRekey(s.agent.Node.ID, thief, other), "the right name of the old key": forged,
		"another node": exchange.NewRekey(s.server.Node.ID, s.agent.Node.PrivateKey, other)} {
		_, err := s.service.For(p).Hello(t.Context(), exchange.HelloRequest{Protocols: exchange.Protocols(), Node: p.Node, Nonce: make([]byte, exchange.NonceSize), Rekey: r})
		if err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if now, err := s.registry.Principal(t.Context(), p.Node); err != nil || !bytes.Equal(now.Key, p.Key) {
		t.Errorf("the key changed, %v", err)
	}
}

// The server changes its key: it announces the next one, signed by both, and
// agents that heard of it go on without a new code; one that did not is told.
func TestServerChangesItsKey(t *testing.T) {
	t.Parallel()
	s := newSite(t, nil)
	u := s.opened(t)
	if err := u.Enrol(t.Context(), s.web.URL, s.code(t)); err != nil {
		t.Fatal(err)
	}
	serve := func(id node.Identity) {
		t.Helper()
		svc, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: s.server.Ledger, Blobs: s.server.Blobs, Store: s.server.Store,
			Key: id.PrivateKey, NextKey: id.Next, Rekeyed: s.registry.Rekeyed})
		if err != nil {
			t.Fatal(err)
		}
		s.handler = httppeer.NewHandler(svc, s.registry, httppeer.HandlerOptions{})
	}
	session := func() uplink.State {
		t.Helper()
		stop := start(t, u)
		defer stop()
		exchangetest.Shots(t, s.agent, s.lab, 1, 10)
		u.Wake()
		return until(t, u, "settled", func(st uplink.State) bool { return inStep(st) || st.Stuck != "" && !st.Running })
	}
	id, err := node.Prepare(s.server.Dir)
	if err != nil {
		t.Fatal(err)
	}
	serve(id)
	if st := session(); !inStep(st) {
		t.Fatalf("while it is announced: %+v", st)
	}
	if got, _ := u.Settings(); !bytes.Equal(got.NextServerKey, id.Next.Public().(ed25519.PublicKey)) {
		t.Error("the announced key was not kept")
	}
	if id, err = node.Promote(s.server.Dir); err != nil {
		t.Fatal(err)
	}
	serve(id)
	u = s.opened(t)
	if st := session(); !inStep(st) {
		t.Fatalf("after the change: %+v", st)
	}
	if got, _ := u.Settings(); !bytes.Equal(got.ServerKey, id.PublicKey()) || got.NextServerKey != nil {
		t.Error("the pin did not move on")
	}
	for range 2 { // changed again, and this agent heard nothing of it
		if _, err := node.Prepare(s.server.Dir); err != nil {
			t.Fatal(err)
		}
		if id, err = node.Promote(s.server.Dir); err != nil {
			t.Fatal(err)
		}
	}
	serve(id)
	u = s.opened(t)
	if st := session(); inStep(st) || st.Stuck == "" {
		t.Errorf("a key that nobody announced: %+v", st)
	}
}

package enrol_test

import (
	"bytes"
	"crypto/ed25519"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server/enrol"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/kv"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// office is a server with its registry.
type office struct {
	server   *ledgertest.Ledger
	registry *enrol.Registry
	service  *exchange.Service
	now      time.Time
}

func newOffice(t *testing.T) *office {
	t.Helper()
	f := &office{server: ledgertest.Open(t), now: time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC)}
	clock := func() time.Time { return f.now }
	var err error
	f.registry, err = enrol.Open(enrol.Options{Ledger: f.server.Ledger, Store: f.server.Store, ServerKey: f.server.Node.PublicKey, Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	f.service, err = exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: f.server.Ledger, Blobs: f.server.Blobs, Store: f.server.Store,
		Key: f.server.Node.PrivateKey, Now: clock, Seen: f.registry.Seen})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func (f *office) code(t *testing.T, lab record.LabID, name string) exchange.Code {
	t.Helper()
	text, expires, err := f.registry.NewCode(t.Context(), lab, name, "person-1")
	if err != nil {
		t.Fatal(err)
	}
	if !expires.Equal(f.now.Add(24 * time.Hour)) {
		t.Errorf("the code expires at %v, want a day from now", expires)
	}
	c, err := exchange.ParseCode(text)
	if err != nil {
		t.Fatalf("the code %q cannot be read: %v", text, err)
	}
	return c
}

func request(l *ledgertest.Ledger, c exchange.Code, id uuid.UUID) *exchange.EnrolRequest {
	return &exchange.EnrolRequest{Secret: c.Secret[:], EnrollmentID: id, Node: l.Node.ID, PublicKey: l.Node.PublicKey(), Software: "test"}
}

// facts lists the kinds in the server-wide chain, genesis left out.
func (f *office) facts(t *testing.T) []record.Kind {
	t.Helper()
	recs, err := f.server.Read(t.Context(), f.server.Own(record.LabID{}), 0, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	var kinds []record.Kind
	for i := range recs {
		if recs[i].Kind != record.KindGenesis {
			kinds = append(kinds, recs[i].Kind)
		}
	}
	return kinds
}

func TestEnrolmentIsIdempotentAndSingleUse(t *testing.T) {
	t.Parallel()
	f, agent, other := newOffice(t), ledgertest.Open(t), ledgertest.Open(t)
	lab, id, ctx := exchangetest.Lab(t), uuid.New(), t.Context()
	c := f.code(t, lab, "rig one")
	for range 3 {
		a, err := f.registry.Enrol(ctx, request(agent, c, id))
		if err != nil || a.Lab != lab || a.Name != "rig one" {
			t.Fatalf("enrol: %+v, %v", a, err)
		}
	}
	want := []record.Kind{enrol.KindEnrolled, enrol.KindAlias}
	if got := f.facts(t); !slices.Equal(got, want) {
		t.Errorf("facts %v, want %v once", got, want)
	}
	if _, err := f.registry.Enrol(ctx, request(agent, c, uuid.New())); problem.Of(err) != problem.Conflict {
		t.Errorf("the code again in another enrolment: %v, want conflict", err)
	}
	if _, err := f.registry.Enrol(ctx, request(other, c, id)); problem.Of(err) != problem.Conflict {
		t.Errorf("the code again from another node: %v, want conflict", err)
	}
	p, err := f.registry.Principal(ctx, agent.Node.ID)
	local := exchange.LocalLab(agent.Node.PublicKey())
	if err != nil || !p.Key.Equal(agent.Node.PublicKey()) || !slices.Equal(p.Labs, []record.LabID{lab, local}) {
		t.Errorf("principal %+v, %v, want the lab and the local lab", p, err)
	}
	if _, err := f.registry.Principal(ctx, other.Node.ID); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("a node that never came: %v, want unauthenticated", err)
	}
}

func TestCodesThatDoNotServe(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	ctx := t.Context()
	c := f.code(t, exchangetest.Lab(t), "rig")
	f.now = f.now.Add(24 * time.Hour)
	if _, err := f.registry.Enrol(ctx, request(agent, c, uuid.New())); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("after a day: %v, want unauthenticated", err)
	}
	unknown, err := exchange.NewCode(f.server.Node.PublicKey())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.registry.Enrol(ctx, request(agent, unknown, uuid.New())); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("never made: %v, want unauthenticated", err)
	}
	if got := f.facts(t); len(got) != 0 {
		t.Errorf("facts %v, want none", got)
	}
	for name, c := range map[string]struct {
		lab      record.LabID
		name, by string
	}{"no lab": {record.LabID{}, "rig", "p"}, "no name": {exchangetest.Lab(t), " ", "p"}, "nobody": {exchangetest.Lab(t), "rig", ""}, "a long name": {exchangetest.Lab(t), strings.Repeat("x", 81), "p"}} {
		if _, _, err := f.registry.NewCode(ctx, c.lab, c.name, c.by); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: %v, want invalid", name, err)
		}
	}
}

// The code is kept as a sum: its secret stands nowhere in the store.
func TestCodeIsNotStored(t *testing.T) {
	t.Parallel()
	f := newOffice(t)
	c := f.code(t, exchangetest.Lab(t), "rig")
	found := false
	err := f.server.Store.View(t.Context(), func(r kv.Reader) error {
		for e, err := range r.Scan("enrol.code", nil, nil) {
			if err != nil {
				return err
			}
			found = true
			if bytes.Contains(append(e.Key, e.Value...), c.Secret[:]) {
				t.Error("the secret is stored")
			}
		}
		return nil
	})
	if err != nil || !found {
		t.Errorf("code found: %v, %v", found, err)
	}
}

func TestAnotherKeyUnderTheSameNodeIsRefused(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab, ctx := exchangetest.Lab(t), t.Context()
	if _, err := f.registry.Enrol(ctx, request(agent, f.code(t, lab, "rig"), uuid.New())); err != nil {
		t.Fatal(err)
	}
	pub, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	q := request(agent, f.code(t, lab, "rig"), uuid.New())
	q.PublicKey = pub
	if _, err := f.registry.Enrol(ctx, q); problem.Of(err) != problem.Conflict {
		t.Errorf("%v, want conflict", err)
	}
}

func TestRevokeWithinScopeOnly(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab, second, ctx := exchangetest.Lab(t), exchangetest.Lab(t), t.Context()
	for _, l := range []record.LabID{lab, second} {
		if _, err := f.registry.Enrol(ctx, request(agent, f.code(t, l, "rig"), uuid.New())); err != nil {
			t.Fatal(err)
		}
	}
	node := agent.Node.ID
	for name, c := range map[string]struct {
		sc   scope.Scope
		by   string
		want problem.Code
	}{
		"another lab's manager": {scope.Labs(exchangetest.Lab(t)), "p", problem.NotFound},
		"one lab's manager":     {scope.Labs(lab), "p", problem.Forbidden},
		"nobody":                {scope.All(), "", problem.Invalid},
		"no scope":              {scope.Scope{}, "p", problem.NotFound},
	} {
		if err := f.registry.Revoke(ctx, c.sc, node, c.by, "lost"); problem.Of(err) != c.want {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
	}
	for range 2 {
		if err := f.registry.Revoke(ctx, scope.Labs(lab, second), node, "p", "lost"); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := f.registry.Principal(ctx, node); problem.Of(err) != problem.Forbidden {
		t.Errorf("withdrawn: %v, want forbidden", err)
	}
	want := []record.Kind{enrol.KindEnrolled, enrol.KindAlias, enrol.KindEnrolled, enrol.KindRevoked}
	if got := f.facts(t); !slices.Equal(got, want) {
		t.Errorf("facts %v, want %v", got, want)
	}
	if _, err := f.registry.Enrol(ctx, request(agent, f.code(t, lab, "rig again"), uuid.New())); err != nil {
		t.Fatal(err)
	}
	if _, err := f.registry.Principal(ctx, node); err != nil {
		t.Errorf("enrolled again: %v", err)
	}
}

// From a code to equal logs over real HTTP, with records from before the
// enrolment; then the list says how far behind the agent is.
func TestFromCodeToEqualLogs(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab, ctx := exchangetest.Lab(t), t.Context()
	web := httptest.NewServer(httppeer.NewHandler(f.service, f.registry, httppeer.HandlerOptions{}))
	t.Cleanup(web.Close)
	local := exchange.LocalLab(agent.Node.PublicKey())
	exchangetest.Shots(t, agent, local, 3, 1000)

	c := f.code(t, lab, "rig one")
	q := request(agent, c, uuid.New())
	signed, err := exchange.SealEnrol(agent.Node.PrivateKey, q)
	if err != nil {
		t.Fatal(err)
	}
	forged := exchange.Signed{Payload: signed.Payload, Signature: make([]byte, ed25519.SignatureSize)}
	rt := httppeer.NewTransport(httppeer.TransportOptions{})
	if _, err := httppeer.Enrol(ctx, rt, web.URL, forged); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("without the node's key: %v, want unauthenticated", err)
	}
	raw, err := httppeer.Enrol(ctx, rt, web.URL, signed)
	if err != nil {
		t.Fatal(err)
	}
	wrong := c
	wrong.Server[0] ^= 1
	if _, err := exchange.OpenEnrolAnswer(&raw, &signed, wrong); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("a code of another server: %v, want unauthenticated", err)
	}
	if _, err := exchange.OpenEnrolAnswer(&raw, &forged, c); err != nil {
		t.Errorf("the same payload: %v", err)
	}
	other := exchange.Signed{Payload: append(bytes.Clone(signed.Payload), 0)}
	if _, err := exchange.OpenEnrolAnswer(&raw, &other, c); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("an answer to another request: %v, want unauthenticated", err)
	}
	a, err := exchange.OpenEnrolAnswer(&raw, &signed, c)
	if err != nil || a.Lab != lab || a.Server != f.service.Node() {
		t.Fatalf("answer %+v, %v", a, err)
	}

	exchangetest.Shots(t, agent, a.Lab, 4, 1000)
	peer, err := httppeer.NewClient(httppeer.ClientOptions{URL: web.URL, Node: agent.Node.ID, Key: agent.Node.PrivateKey,
		Server: exchange.Pinned{ID: a.Server, Key: a.ServerKey}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(peer.Close)
	o := exchangetest.Options(agent, f.service)
	o.Pending = exchange.Pending{Records: 9, Bytes: 12345}
	o.Now = func() time.Time { return f.now.Add(-40 * time.Second) }
	res, err := exchange.Run(ctx, o, peer)
	if err != nil || res.ClockOffset != -40*time.Second {
		t.Fatalf("clock offset %v, %v, want -40 s", res.ClockOffset, err)
	}
	exchangetest.Same(t, agent, f.server, true, lab, local)

	got, err := f.registry.Resolve(ctx, local)
	if err != nil || got != lab {
		t.Errorf("the local lab resolves to %v, %v, want the real one", got, err)
	}
	if got, err := f.registry.Resolve(ctx, lab); err != nil || got != lab {
		t.Errorf("the real lab resolves to %v, %v", got, err)
	}
	sc, err := f.registry.Widen(ctx, scope.Labs(lab))
	if err != nil || !sc.Allows(local) || !sc.Allows(lab) || sc.Allows(exchangetest.Lab(t)) {
		t.Errorf("widened scope: %v", err)
	}
	f.checkList(t, agent, lab)
}

func (f *office) checkList(t *testing.T, agent *ledgertest.Ledger, lab record.LabID) {
	t.Helper()
	list, err := f.registry.List(t.Context(), scope.Labs(lab))
	if err != nil || len(list) != 1 {
		t.Fatalf("%d agents, %v, want 1", len(list), err)
	}
	s := list[0]
	if s.Name != "rig one" || s.Behind != 0 || s.PendingBytes != 12345 || !s.LastSeen.Equal(f.now) || s.ClockOffset != -40*time.Second || !s.Revoked.IsZero() {
		t.Errorf("%+v", s)
	}
	if none, err := f.registry.List(t.Context(), scope.Labs(exchangetest.Lab(t))); err != nil || len(none) != 0 {
		t.Errorf("another lab sees %d agents, %v", len(none), err)
	}
	own := agent.Own(lab)
	err = f.registry.Seen(t.Context(), exchange.Report{Node: agent.Node.ID, ServerTime: f.now, NodeTime: f.now,
		Heads: []exchange.HeadEntry{{Origin: own, Seq: 5 + 7}}})
	if err != nil {
		t.Fatal(err)
	}
	if list, err = f.registry.List(t.Context(), scope.All()); err != nil || len(list) != 1 || list[0].Behind != 7 {
		t.Errorf("behind by %+v, %v, want 7", list, err)
	}
}

func TestOpenCodes(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab, ctx := exchangetest.Lab(t), t.Context()
	used := f.code(t, lab, "used")
	f.code(t, lab, "open")
	f.code(t, exchangetest.Lab(t), "elsewhere")
	if _, err := f.registry.Enrol(ctx, request(agent, used, uuid.New())); err != nil {
		t.Fatal(err)
	}
	got, err := f.registry.OpenCodes(ctx, scope.Labs(lab))
	if err != nil || len(got) != 1 || got[0].Name != "open" || got[0].By != "person-1" {
		t.Errorf("%+v, %v, want the open one of the lab", got, err)
	}
	f.now = f.now.Add(25 * time.Hour)
	if got, err := f.registry.OpenCodes(ctx, scope.All()); err != nil || len(got) != 0 {
		t.Errorf("a day later %+v, %v, want none", got, err)
	}
}

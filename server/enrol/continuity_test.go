package enrol_test

import (
	"crypto/ed25519"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server/enrol"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Ten wrong codes that begin like a good one end the good one; rubbish does not.
func TestWrongCodesEndTheOneTheyAreLike(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab := exchangetest.Lab(t)
	meant, other := f.code(t, lab, "rig one"), f.code(t, lab, "rig two")
	try := func(c exchange.Code) error {
		_, err := f.registry.Enrol(t.Context(), request(agent, c, uuid.New()))
		return err
	}
	rubbish := meant
	rubbish.Secret[0] ^= 0xff
	wrong := meant
	wrong.Secret[15] ^= 1
	for i := range 3 * enrol.MaxWrong {
		if err := try(rubbish); problem.Of(err) != problem.Unauthenticated {
			t.Fatalf("rubbish %d: %v", i, err)
		}
	}
	for i := range enrol.MaxWrong {
		if open, err := f.registry.OpenCodes(t.Context(), scope.Labs(lab)); err != nil || len(open) != 2 {
			t.Fatalf("after %d wrong ones %d codes are open, %v", i, len(open), err)
		}
		if err := try(wrong); problem.Of(err) != problem.Unauthenticated {
			t.Fatalf("wrong %d: %v", i, err)
		}
	}
	if err := try(meant); problem.Of(err) != problem.Unauthenticated || !strings.Contains(err.Error(), "wrong codes") {
		t.Errorf("the right code afterwards: %v", err)
	}
	if err := try(other); err != nil {
		t.Errorf("another code: %v", err)
	}
}

// A new key holds at once, and is a fact of its own with both signatures.
func TestRekeyedInTheRegistry(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab := exchangetest.Lab(t)
	if _, err := f.registry.Enrol(t.Context(), request(agent, f.code(t, lab, "rig one"), uuid.New())); err != nil {
		t.Fatal(err)
	}
	next, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	_, key, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	bad := exchange.NewRekey(agent.Node.ID, agent.Node.PrivateKey, key)
	bad.New = next
	if err := f.registry.Rekeyed(t.Context(), *bad); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("a key that signed nothing: %v", err)
	}
	good := exchange.NewRekey(agent.Node.ID, agent.Node.PrivateKey, key)
	for range 2 {
		if err := f.registry.Rekeyed(t.Context(), *good); err != nil {
			t.Fatal(err)
		}
	}
	p, err := f.registry.Principal(t.Context(), agent.Node.ID)
	if err != nil || !p.Key.Equal(key.Public()) {
		t.Errorf("the key that holds is another one, %v", err)
	}
	n := 0
	for _, k := range f.facts(t) {
		if k == exchange.KindRekeyed {
			n++
		}
	}
	if n != 1 {
		t.Errorf("%d facts of it, want 1", n)
	}
	if err := f.registry.Revoke(t.Context(), scope.All(), agent.Node.ID, "person-1", "lost"); err != nil {
		t.Fatal(err)
	}
	_, third, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.registry.Rekeyed(t.Context(), *exchange.NewRekey(agent.Node.ID, key, third)); problem.Of(err) != problem.Forbidden {
		t.Errorf("after it was withdrawn: %v", err)
	}
}

// An alarm is a fact once, in words, for those who may see the lab.
func TestAlarmsAreFactsInWords(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab, other := exchangetest.Lab(t), exchangetest.Lab(t)
	if _, err := f.registry.Enrol(t.Context(), request(agent, f.code(t, lab, "rig one"), uuid.New())); err != nil {
		t.Fatal(err)
	}
	o := record.Origin{Node: agent.Node.ID, Lab: lab, Epoch: 1}
	kinds := []string{exchange.AgentSetBack, exchange.TwoHistories, exchange.ServerSetBack, exchange.ServerGivenBack, exchange.ChainClosed}
	for _, k := range slices.Concat(kinds, kinds) {
		if err := f.registry.Alarm(t.Context(), exchange.Alarm{Kind: k, Node: agent.Node.ID, Origin: o, Here: 71, There: 53, Reason: "the disk was changed"}); err != nil {
			t.Fatal(err)
		}
	}
	got, err := f.registry.Alarms(t.Context(), scope.Labs(lab))
	if err != nil || len(got) != len(kinds) {
		t.Fatalf("%d alarms, %v, want %d", len(got), err, len(kinds))
	}
	for _, a := range got {
		if !strings.Contains(a.Text, "gent rig one") || !slices.Contains(kinds, a.Alarm) || strings.Contains(a.Text, "_") {
			t.Errorf("%s: %q", a.Alarm, a.Text)
		}
	}
	if got, err := f.registry.Alarms(t.Context(), scope.Labs(other)); err != nil || len(got) != 0 {
		t.Errorf("another lab sees %d, %v", len(got), err)
	}
	if err := f.registry.SeeAlarm(t.Context(), scope.Labs(other), got[0].ID, "person-2"); problem.Of(err) != problem.NotFound {
		t.Errorf("another lab has seen it: %v", err)
	}
	if err := f.registry.SeeAlarm(t.Context(), scope.Labs(lab), got[0].ID, "person-1"); err != nil {
		t.Fatal(err)
	}
	if now, err := f.registry.Alarms(t.Context(), scope.Labs(lab)); err != nil || now[len(kinds)-1].SeenBy != "person-1" {
		t.Errorf("after it was seen: %+v, %v", now, err)
	}
}

// What is about a peer is told once a day, however often it tries.
func TestAlarmsAboutPeersOnceADay(t *testing.T) {
	t.Parallel()
	f, agent := newOffice(t), ledgertest.Open(t)
	lab := exchangetest.Lab(t)
	if _, err := f.registry.Enrol(t.Context(), request(agent, f.code(t, lab, "rig one"), uuid.New())); err != nil {
		t.Fatal(err)
	}
	for day := range 2 {
		for i := range 3 {
			for _, k := range []string{exchange.PeerRefused, exchange.OtherLab, exchange.RevokedTried, exchange.WrongKey, exchange.ClockFarOff} {
				reason := "a reason"
				if k == exchange.ClockFarOff {
					reason = fmt.Sprintf("%d days ahead", 3+i)
				}
				if err := f.registry.Alarm(t.Context(), exchange.Alarm{Kind: k, Node: agent.Node.ID, Reason: reason}); err != nil {
					t.Fatal(err)
				}
			}
		}
		if got, err := f.registry.Alarms(t.Context(), scope.Labs(lab)); err != nil || len(got) != 5*(day+1) {
			t.Errorf("day %d: %d alarms, %v", day, len(got), err)
		}
		f.now = f.now.Add(24 * time.Hour)
	}
}

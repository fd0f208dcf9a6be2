package main

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/trial/programtest"
)

// A rig whose key is gone (the file was deleted, or damaged and set aside)
// records on, says what to do, and comes back by a code that is made for it,
// with its whole history: what was handed over before, and what was not.
func TestLostKeyComesBack(t *testing.T) {
	var p programtest.Program
	s := p.StartServer(t)
	a := p.StartAgent(t, "--server", s.URL(""), "--code", s.Code())
	a.Post("one.csv", programtest.Shot(1, 300))
	programtest.Wait(t, time.Minute, "the first shot is on the server", a.Drained)
	s.Kill()
	a.Post("two.csv", programtest.Shot(2, 300)) // only here
	a.Kill()
	key := filepath.Join(a.Data, "node.json")
	old, err := os.ReadFile(key)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	a.With()
	a.Again()
	a.Post("three.csv", programtest.Shot(3, 300))
	s.Again()
	programtest.Wait(t, time.Minute, "the agent says why nothing moves", func() bool { return a.Sync().Stuck != "" })
	var told []alarmSeen
	programtest.Wait(t, time.Minute, "a person is told of the lost key", func() bool {
		a.Ask(http.MethodGet, "/api/v1/alarms", nil, &told)
		_, ok := hasAlarm(told, "chain_notice", "key of this node was lost")
		return ok
	})

	connect := func(code string) string {
		t.Helper()
		res, err := a.HTTP.PostForm(a.URL("/connect"), url.Values{"key": {uuid.NewString()}, "server": {s.URL("")}, "code": {code}})
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b := make([]byte, 1<<20)
		n, _ := res.Body.Read(b)
		return string(b[:n])
	}
	connect(s.Code()) // an ordinary code takes no identity over
	if n := len(s.Shots()); n != 1 {
		t.Fatalf("after an ordinary code the server has %d shots, want 1", n)
	}
	var agents []struct {
		Node string `json:"node"`
		Key  string `json:"public_key"`
	}
	s.Ask(http.MethodGet, "/api/v1/agents", nil, &agents)
	if len(agents) != 1 {
		t.Fatalf("%d agents", len(agents))
	}
	var code struct {
		Code string `json:"code"`
	}
	s.Ask(http.MethodPost, "/api/v1/labs/"+s.Lab+"/codes", map[string]string{"agent": agents[0].Node}, &code)
	connect(code.Code)
	programtest.Wait(t, time.Minute, "everything is on the server", func() bool { return len(s.Shots()) == 3 && a.Drained() })
	before := agents[0]
	s.Ask(http.MethodGet, "/api/v1/agents", nil, &agents)
	if len(agents) != 1 || agents[0].Node != before.Node || agents[0].Key == before.Key {
		t.Errorf("agents before %+v, now %+v: want the same one with another key", before, agents)
	}
	s.Ask(http.MethodGet, "/api/v1/alarms", nil, &told)
	if _, ok := hasAlarm(told, "key_replaced", "came back with a new key"); !ok {
		t.Errorf("the server's people are not told: %+v", told)
	}

	// Whoever has the old key can do nothing with it.
	a.Kill()
	now, err := os.ReadFile(key)
	if err != nil || string(now) == string(old) {
		t.Fatalf("the key was not replaced, %v", err)
	}
	wantRun(t, exitOK, "", "verify", "--data", a.Data)
	if err := os.WriteFile(key, old, 0o600); err != nil {
		t.Fatal(err)
	}
	a.Again()
	a.Post("four.csv", programtest.Shot(4, 300))
	programtest.Wait(t, time.Minute, "the old key is refused", func() bool { return a.Sync().Stuck != "" })
	if n := len(s.Shots()); n != 3 {
		t.Errorf("with the old key the server has %d shots, want 3", n)
	}
	a.Kill()
	if err := os.WriteFile(key, now, 0o600); err != nil {
		t.Fatal(err)
	}
	a.Again()
	programtest.Wait(t, time.Minute, "with the new key all is there", func() bool { return len(s.Shots()) == 4 && a.Drained() })
}

// The server's own key over the real programs: announced, heard of, used; an
// agent that heard nothing of it says so and comes back by a code.
func TestLifeOfTheServersKey(t *testing.T) {
	var p programtest.Program
	s := p.StartServer(t)
	near := p.StartAgent(t, "--server", s.URL(""), "--code", s.Code())
	far := p.StartAgent(t, "--server", s.URL(""), "--code", s.Code())
	for i, a := range []*programtest.Agent{near, far} {
		a.Post("one.csv", programtest.Shot(10+i, 300))
		programtest.Wait(t, time.Minute, "the first shots are on the server", a.Drained)
	}
	far.Kill()
	wantRun(t, exitUsage, "No new key", "server-key", "--data", s.Data, "--use")
	wantRun(t, exitOK, "No other one is announced", "server-key", "--data", s.Data)
	wantRun(t, exitOK, "Have not heard of it yet", "server-key", "--data", s.Data, "--announce")
	near.Post("two.csv", programtest.Shot(12, 300))
	programtest.Wait(t, time.Minute, "the near agent has heard of it", func() bool {
		said, _, _ := thudbook(t.Context(), t, "server-key", "--data", s.Data)
		return strings.Contains(said, "Have heard of it: rig")
	})
	wantRun(t, exitUsage, "have not heard of the new key", "server-key", "--data", s.Data, "--use")
	s.Kill() // a stop in between changes nothing of it
	s.Again()
	wantRun(t, exitOK, "The new key is in use", "server-key", "--data", s.Data, "--use", "--anyway")
	near.Post("three.csv", programtest.Shot(13, 300))
	programtest.Wait(t, time.Minute, "the near agent goes on", func() bool { return len(s.Shots()) == 4 && near.Drained() })
	far.With()
	far.Again()
	far.Post("four.csv", programtest.Shot(14, 300))
	programtest.Wait(t, time.Minute, "the far agent says why nothing moves", func() bool {
		return strings.Contains(far.Sync().Stuck, "not the server that this agent was enrolled with")
	})
	res, err := far.HTTP.PostForm(far.URL("/connect"), url.Values{"key": {uuid.NewString()}, "server": {s.URL("")}, "code": {s.Code()}})
	if err != nil {
		t.Fatal(err)
	}
	_ = res.Body.Close()
	programtest.Wait(t, time.Minute, "the far agent is back", func() bool { return len(s.Shots()) == 5 && far.Drained() })
}

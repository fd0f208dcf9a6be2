package main

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TestAgentStartsBeforeTheServerCanBeReached: an agent that is told of a server
// at its start, with no network there, takes in shots at once and enrols when
// the network comes; the shots from before are then the lab's.
func TestAgentStartsBeforeTheServerCanBeReached(t *testing.T) {
	lab := newLabOnServer(t, "late cable")
	lab.cable.set(false)

	watch := t.TempDir()
	agent := start(t, "agent", "--data", t.TempDir(), "--watch", watch, "--listen", "127.0.0.1:0", "--sync-every", "100ms",
		"--server", "http://"+lab.cable.addr(), "--code", lab.code)
	if err := os.WriteFile(filepath.Join(watch, "early.csv"), shotBytes(1), 0o644); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the shot on the agent", func() bool { return len(shotIDs(t, http.DefaultClient, agent.url("/api/v1/shots"))) == 1 })
	id := shotIDs(t, http.DefaultClient, agent.url("/api/v1/shots"))[0]
	if res, err := http.Get(agent.url("/readyz")); err != nil || res.StatusCode != http.StatusOK {
		t.Errorf("the agent without network is not ready: %v %v", res, err)
	}
	lab.cable.set(true)
	onServer := func() []string {
		return shotIDs(t, lab.admin.http, lab.server.url("/api/v1/shots?lab="+lab.id.String()))
	}
	waitFor(t, "the shot on the server, as the lab's", func() bool { return len(onServer()) == 1 })
	if got := onServer()[0]; got != id {
		t.Errorf("the server has shot %s, the agent %s", got, id)
	}
}

func waitFor(t *testing.T, what string, ready func() bool) {
	t.Helper()
	for deadline := time.Now().Add(90 * time.Second); !ready(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("not after 90 s: %s", what)
		}
	}
}

func shotIDs(t *testing.T, c *http.Client, url string) (ids []string) {
	t.Helper()
	res, err := c.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	var list struct {
		Shots []struct {
			ID string `json:"id"`
		} `json:"shots"`
	}
	if err := json.Unmarshal([]byte(body(t, res)), &list); err != nil {
		t.Fatal(err)
	}
	for _, s := range list.Shots {
		ids = append(ids, s.ID)
	}
	return ids
}

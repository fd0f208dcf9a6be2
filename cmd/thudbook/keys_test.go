package main

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"thudbook/sync/trial/programtest"
)

type agentSeen struct {
	Key       string     `json:"public_key"`
	RevokedAt *time.Time `json:"revoked_at"`
}

type alarmSeen struct {
	ID    string `json:"id"`
	Alarm string `json:"alarm"`
	Text  string `json:"text"`
	By    string `json:"seen_by"`
}

func hasAlarm(all []alarmSeen, kind, text string) (alarmSeen, bool) {
	for _, a := range all {
		if a.Alarm == kind && strings.Contains(a.Text, text) {
			return a, true
		}
	}
	return alarmSeen{}, false
}

// The life of an agent's key over the real programs: changed by command while
// the agent runs, cut in the middle, changed while it is stopped; then withdrawn.
// What was acknowledged stays, and the withdrawn agent records on and says why.
func TestLifeOfAnAgentsKey(t *testing.T) {
	var p programtest.Program
	s := p.StartServer(t)
	a := p.StartAgent(t, "--server", s.URL(""), "--code", s.Code())
	shot := func(n int) string { return a.Post("shot.csv", programtest.Shot(n, 300)) }
	key := func() string {
		var all []agentSeen
		s.Ask(http.MethodGet, "/api/v1/agents", nil, &all)
		if len(all) != 1 {
			t.Fatalf("%d agents", len(all))
		}
		return all[0].Key
	}
	settled := func() bool { // the agent knows that its new key was taken
		var k struct {
			Changing bool `json:"key_changing"`
		}
		a.Ask(http.MethodGet, "/api/v1/sync", nil, &k)
		return !k.Changing && a.Drained()
	}
	ids := []string{shot(1)}
	programtest.Wait(t, time.Minute, "the first shot is on the server", a.Drained)
	first := key()
	wantRun(t, exitOK, "old one serves until the server has taken", "new-key", "--data", a.Data)
	programtest.Wait(t, time.Minute, "the second key is in use", func() bool { return key() != first && settled() })
	second := key()

	// The server is away when the key is changed, and the agent is killed.
	s.Kill()
	wantRun(t, exitOK, "old one serves", "new-key", "--data", a.Data)
	ids = append(ids, shot(2))
	a.Kill()
	a.With()
	a.Again()
	s.Again()
	programtest.Wait(t, time.Minute, "the third key is in use", func() bool { return key() != second && settled() })
	third := key()
	a.Kill()
	wantRun(t, exitOK, "lies beside the old one", "new-key", "--data", a.Data)
	a.Again()
	programtest.Wait(t, time.Minute, "the fourth key is in use", func() bool { return key() != third && settled() })
	if got := s.Shots(); len(got) != len(ids) {
		t.Errorf("the server has %d shots, want %d", len(got), len(ids))
	}

	wantRun(t, exitUsage, "no agent is called", "withdraw", "--data", s.Data, "--agent", "rig nine")
	wantRun(t, exitUsage, "does not do that", "withdraw", "--data", a.Data, "--agent", "rig")
	wantRun(t, exitOK, "was withdrawn", "withdraw", "--data", s.Data, "--agent", "rig", "--reason", "the PC was sold")
	shot(3) // it is taken in at the rig all the same
	programtest.Wait(t, time.Minute, "the agent says that it was withdrawn", func() bool {
		return strings.Contains(a.Sync().Stuck, "This agent was withdrawn on the server")
	})
	var here, there []alarmSeen
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("alarms of the agent %+v, of the server %+v", here, there)
		}
	})
	programtest.Wait(t, 30*time.Second, "both sides have an alarm", func() bool {
		a.Ask(http.MethodGet, "/api/v1/alarms", nil, &here)
		s.Ask(http.MethodGet, "/api/v1/alarms", nil, &there)
		_, one := hasAlarm(here, "withdrawn", "It keeps recording here")
		_, two := hasAlarm(there, "revoked_tried", "was withdrawn and tried to connect")
		return one && two
	})
	if got := s.Shots(); len(got) != len(ids) {
		t.Errorf("after it was withdrawn the server has %d shots, want %d", len(got), len(ids))
	}
	if a.Sync().Records == 0 {
		t.Error("the agent says that nothing is pending")
	}
	open, _ := hasAlarm(here, "withdrawn", "")
	a.Ask(http.MethodPost, "/api/v1/alarms/"+open.ID+"/seen", nil, nil)
	a.Ask(http.MethodGet, "/api/v1/alarms", nil, &here)
	if seen, _ := hasAlarm(here, "withdrawn", ""); seen.By == "" {
		t.Errorf("it is not noted that the alarm was seen: %+v", here)
	}
}

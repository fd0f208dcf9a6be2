package programtest_test

import (
	"bytes"
	"testing"
	"time"

	"thudbook/sync/trial/programtest"
)

// The helper shows what it is for: an agent and a server that are killed and
// started again, and what arrived.
func TestShotsThroughRealPrograms(t *testing.T) {
	var p programtest.Program
	s := p.StartServer(t)
	a := p.StartAgent(t, "--server", s.URL(""), "--code", s.Code())
	first := a.Post("first.csv", programtest.Shot(1, 400))
	programtest.Wait(t, time.Minute, "the first shot is acknowledged", a.Drained)
	s.Kill()
	second := a.Post("second.csv", programtest.Shot(2, 400))
	if a.Drained() {
		t.Error("with a dead server nothing is said to be pending")
	}
	a.Kill()
	s.Again()
	a.With()
	a.Again()
	programtest.Wait(t, time.Minute, "the second shot is acknowledged", a.Drained)
	got := s.Shots()
	if len(got) != 2 {
		t.Fatalf("the server has %d shots, want 2: %v", len(got), got)
	}
	for i, id := range []string{first, second} {
		if want := programtest.Shot(i+1, 400); !bytes.Equal(s.Source(id), want) {
			t.Errorf("the source of shot %d is not what was posted", i+1)
		}
	}
	if code := a.Stop(); code != 0 {
		t.Errorf("the agent ended with %d\n%s", code, a.Out)
	}
}

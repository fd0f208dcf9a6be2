package server_test

import (
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// TestTwinsOnTheBoard: two gates that differ over five strokes stand on the list
// of what is due, each with the stroke that shows it.
func TestTwinsOnTheBoard(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Alder", 1)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	for _, x := range []string{"A", "B"} {
		id := s.manager.make(base+"/items", lab.Item{Class: lab.ClassLightGate, Serial: "G-" + x})
		s.manager.make(base+"/mountings", lab.Mounting{Rig: s.Rig, Position: "gate " + x, Item: id, EffectiveAt: lab.At(now.AddDate(0, 0, -1))})
	}
	board := func() string { return s.operator.get("/health").want(t, 200, "the board").body }
	last := ""
	for i := range 5 {
		if strings.Contains(board(), "disagreeing with its twin") {
			t.Fatalf("after %d strokes it disagrees already", i)
		}
		id := labtest.ID("Alder twin", i)
		last = id.String()
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, labtest.Shot(s.Rig, now.Add(time.Duration(i-30)*time.Second))),
			labtest.Draft(t, id, labtest.Score(id, 5.5, func(x *lab.Score) {
				x.Twins = []lab.Twins{{Channel: "gate A", Twin: "gate B", Measures: "light gate", Value: 5.5, Other: 5.5 * 0.97, Unit: "m/s", Limit: 0.02}}
			})))
		s.sync()
	}
	html := board()
	text := words(html)
	for _, want := range []string{"light gate, G-A", "light gate, G-B", "disagreeing with its twin", "it read 3.1 % more than gate B (light gate), which may be 2.0 % apart; in the last one 5.5 m/s against 5.33 m/s", "it read 3.0 % less than gate A"} {
		if !strings.Contains(text, want) {
			t.Errorf("the board lacks %q: %.2500s", want, text)
		}
	}
	if !strings.Contains(html, `href="/shots/`+last+`"`) {
		t.Error("the board does not lead to the stroke that shows it")
	}
}

package server_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// A hit of which no file came, entered at the rig, is in the specimen's history on
// the server too, for those who may see the lab.
func TestHitWithoutAFileReachesTheServer(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Yarrow", 2), w.open("Tansy", 1)
	b := &lab.Strokes{Rig: s.Rig, Kind: lab.StrokeNoFile, Number: 1, Specimen: "Y-77", Location: "front", Condition: "hot", TargetSpeedMS: new(5.5), EffectiveAt: lab.At(time.Now().Add(-time.Hour)), Reason: "acquisition not armed"}
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, uuid.New(), b))
	s.sync()
	text := words(s.operator.get("/specimens/y-77").want(t, 200, "the specimen").body)
	for _, want := range []string{"Specimen Y-77", "no data", "front", "hot", "target 5.50 m/s", "fired, no file came: acquisition not armed"} {
		if !strings.Contains(text, want) {
			t.Errorf("the specimen's page lacks %q: %.900s", want, text)
		}
	}
	other.operator.get("/specimens/Y-77").want(t, 404, "another lab's specimen")
	type history struct {
		Hits    []any
		Unfiled []struct {
			Location, Reason string
			Target           float64 `json:"target_speed_m_s"`
		} `json:"hits_without_file"`
	}
	h := into[history](t, s.operator.get("/api/v1/specimens/Y-77").want(t, 200, "the API"))
	if len(h.Hits) != 0 || len(h.Unfiled) != 1 || h.Unfiled[0].Location != "front" || h.Unfiled[0].Target != 5.5 {
		t.Errorf("by the API: %+v", h)
	}
}

package agent_test

import (
	"strings"
	"testing"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// Times that the campaign limits are said on Next, survive a restart, and a shot
// outside them carries a flag with the actual time.
func TestTimersOfACampaign(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(labtest.Draft(t, labtest.ID("campaign"), &lab.Campaign{Name: "Cold guards", Specimens: []string{"FG-01"}, MostOutOfChamberS: 0.001, LeastRestS: 3600,
		Cells: []lab.Cell{{Location: "front", Condition: "cold", TargetSpeedMS: 5, ToleranceMS: 0.1, Planned: 2}}}))
	next := r.page("/next", "press it when the specimen leaves the chamber")
	r.send("/next/out", fields(t, next, "/next/out"), "/next")
	r.page("/next", "are exceeded")
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	r.run()
	fire := func(name string, peakG float64) string {
		t.Helper()
		v := fields(t, r.page("/next", "FG-01, front, cold"), "/next/confirm")
		v.Set("pressure", "141")
		r.send("/next/confirm", v, "/result")
		r.write(name, csv(peakG))
		r.until("the result", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
		return fields(t, r.page("/result"), "/result/accept").Get("shot")
	}
	r.page("/next", "are exceeded")
	first := fire("a.csv", 93)
	body := r.page("/shots/"+first, "out of chamber too long", "it was out of the chamber for", "the campaign allows 0 s")
	if strings.Contains(body, "rest too short") {
		t.Error("the first hit has no rest to keep")
	}
	r.page("/next", "wait 59 min", "of 1 h 0 min")
	r.page("/shots/"+fire("b.csv", 94), "rest too short", "the campaign asks for 60 min")
}

package server_test

import (
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// The report of who used the rigs has the hours that they are booked for: split
// at the ends of months, without cancelled ones, and under the spelling of the
// strokes. A year that is over, so that it does not matter when the test runs.
func TestBookedHoursInUsage(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Tansy", 1)
	at := func(month time.Month, day, hour int) time.Time {
		return time.Date(2025, month, day, hour, 0, 0, 0, time.Local)
	}
	say := func(key string, b lab.Body) {
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, labtest.ID("tansy", key), b))
	}
	say("shot", labtest.Shot(s.Rig, at(5, 20, 9), func(x *lab.Shot) {
		x.FileName, x.Extra = "s.csv", map[string]string{"department": "Helmets"}
	}))
	booking := func(key string, from, to time.Time, department, project string) {
		say(key, &lab.Booking{Rig: s.Rig, From: lab.At(from), To: lab.At(to), Department: department, Project: project})
	}
	booking("over the month", at(5, 31, 20), at(6, 1, 4), "helmets ", "P")
	booking("in it", at(5, 10, 8), at(5, 10, 12), "Guards", "")
	booking("clash", at(5, 10, 11), at(5, 10, 12), "Guards", "P")
	booking("gone", at(5, 11, 8), at(5, 11, 20), "Guards", "P")
	say("gone", &lab.BookingCancelled{Booking: labtest.ID("tansy", "gone"), Reason: "R"})
	booking("before", at(4, 30, 8), at(4, 30, 9), "Guards", "")
	s.sync()
	for by, want := range map[string]string{
		"department": "Helmets,1,4.000; Guards,0,5.000", "owner": "Helmets,1,4.000; Guards,0,5.000", "project": "Face guards, first series,1,0.000; P,0,5.000; no project,0,4.000",
		"month": "2025-05,1,9.000", "rig": s.rigName() + ",1,9.000", "operator": "op-1,1,", "campaign": "Face guards, first series,1,",
	} {
		text := s.operator.get("/usage.csv?by="+by+"&from=2025-05&to=2025-05").want(t, 200, by).body
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil || rows[0][5] != "booked_hours" {
			t.Fatalf("%v: %s", err, text)
		}
		var got []string
		for _, r := range rows[1:] {
			got = append(got, r[0]+","+r[1]+","+r[5])
		}
		if joined := strings.Join(got, "; "); joined != want {
			t.Errorf("by %s: %s, want %s", by, joined, want)
		}
	}
	if text := words(s.operator.get("/usage?by=department&from=2025-05&to=2025-06").want(t, 200, "the screen").body); !strings.Contains(text, "0.0 h – no hours 8.0 h Guards 0") || !strings.Contains(text, "0.0 h 13.0 h") {
		t.Errorf("the screen: %.2500s", text)
	}
}

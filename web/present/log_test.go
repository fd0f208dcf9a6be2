package present_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/web/present"
)

// The log merges its lists by time; read page by page it gives each entry once,
// in the same order as at once, whatever the size of the pages.
func TestLogPages(t *testing.T) {
	n := labtest.Open(t)
	id, at := labtest.ID("lab"), labtest.Start()
	for i := range 40 {
		when := lab.At(at.Add(time.Duration(i*7%40) * time.Minute / 2)) // some at one instant
		uid := labtest.ID("entry", i)
		var b lab.Body = &lab.Note{Topic: lab.NoteTopics()[i%3], EffectiveAt: when, Text: fmt.Sprint(i)}
		switch i % 4 {
		case 1:
			b = &lab.Service{Item: labtest.ID("ram"), EffectiveAt: when}
		case 2:
			b = &lab.Mounting{Rig: labtest.ID("rig"), Position: "ram", EffectiveAt: when}
		}
		labtest.Append(t, n.Ledger, id, labtest.Draft(t, uid, b))
	}
	campaign := labtest.ID("campaign")
	step := lab.RunStep{Specimen: "H-10", Location: "front", TargetSpeedMS: 6, Hit: 2}
	for _, do := range []string{lab.RunSkip, lab.RunLast, lab.RunBack} { // a move is no entry
		labtest.Append(t, n.Ledger, id, labtest.Draft(t, campaign, &lab.RunOrder{Campaign: campaign, Do: do, Step: step, Reason: "guard cracked"}))
	}
	read := func(kind string, limit int) (ids []uuid.UUID) {
		t.Helper()
		last := lab.Time(1 << 62)
		for after := ""; ; {
			got, next, err := present.LogPage(t.Context(), n.Reader, scope.All(), kind, after, limit)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range got {
				if e.At > last {
					t.Errorf("pages of %d: %v comes after %v", limit, e.At, last)
				}
				last = e.At
				switch {
				case e.Note != nil:
					ids = append(ids, e.Note.ID)
				case e.Service != nil:
					ids = append(ids, e.Service.ID)
				case e.Skip != nil:
					ids = append(ids, labtest.ID(e.Skip.Order.Do))
				default:
					ids = append(ids, e.Mounting.ID)
				}
			}
			if after = next; next == "" {
				return ids
			}
			if len(got) == 0 || len(ids) > 42 {
				t.Fatalf("pages of %d: it goes on after %d entries", limit, len(ids))
			}
		}
	}
	for _, limit := range []int{1, 3, 7, 41, 42, 1000} {
		seen := map[uuid.UUID]bool{}
		ids := read("", limit)
		for _, id := range ids {
			seen[id] = true
		}
		if len(ids) != 42 || len(seen) != 42 {
			t.Errorf("pages of %d: %d entries, %d different, want 42", limit, len(ids), len(seen))
		}
	}
	for kind, want := range map[string]int{"service": 10, present.LogMounted: 10, present.LogSkipped: 2, "note": 8, "deviation": 6, "part changed": 6} {
		if got := len(read(kind, 3)); got != want {
			t.Errorf("%s: %d entries, want %d", kind, got, want)
		}
	}
	if _, _, err := present.LogPage(t.Context(), n.Reader, scope.All(), "rumour", "", 3); err == nil {
		t.Error("an unknown kind is taken")
	}
	if _, _, err := present.LogPage(t.Context(), n.Reader, scope.All(), "", "a~b", 3); err == nil {
		t.Error("a cursor of another log is taken")
	}
}

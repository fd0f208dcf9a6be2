package server_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// The second file of a stroke is in the list of shots, and in no count of strokes:
// not of the item that was mounted, not in the digest, not in who used the rig.
func TestSecondFilesAreNoStrokes(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 1)
	base := "/api/v1/labs/" + s.id.String()
	at := time.Now().UTC().AddDate(0, 0, -2).Truncate(24 * time.Hour).Add(12 * time.Hour) // noon
	ram := s.manager.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: "R-9"})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "second ram", "item": ram, "effective_at": at.Add(-time.Hour)})
	s.fires("first", 70, at, "H-1")
	twin := s.fires("twin", 71, at.Add(time.Second), "")
	s.sync()
	counts := func(strokes, shots string) {
		t.Helper()
		if text := words(s.operator.get("/equipment/use/"+ram.String()).want(t, 200, "the ram").body); !strings.Contains(text, "Strokes in all, dry and void ones too "+strokes+" ") {
			t.Errorf("the ram has not %s strokes: %.900s", strokes, text)
		}
		if text := words(s.operator.get("/digest?day="+at.Format(time.DateOnly)).want(t, 200, "the digest").body); !strings.Contains(text, "Rig 1: "+shots) {
			t.Errorf("the digest lacks %q: %.1200s", shots, text)
		}
		if n, _, text := s.sums("department", at.AddDate(0, -1, 0).Format("2006-01"), time.Now().Format("2006-01")); strconv.FormatInt(n, 10) != strokes || strings.Contains(text, "counted without a file") {
			t.Errorf("usage is of %d strokes, want %s:\n%s", n, strokes, text)
		}
	}
	counts("4", "2 shots") // and two that the site had before
	id := uuid.MustParse(twin)
	e, err := lab.NewEdit(id, lab.KindShot, "kind", lab.ShotSecondFile)
	if err != nil {
		t.Fatal(err)
	}
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, e))
	s.sync()
	counts("3", "1 shot")
	if !strings.Contains(words(s.operator.get("/shots").body), "second file of a stroke") {
		t.Error("it is not in the list of shots")
	}
}

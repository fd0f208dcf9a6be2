package desk

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/view"
)

// A rig that was renamed before its agent was enrolled is listed once, under its
// newest name, whichever row comes first.
func TestARigIsListedOnce(t *testing.T) {
	row := func(id byte, name string, day int) *view.RigRow {
		return &view.RigRow{Head: view.Head{ID: uuid.UUID{id}, RecordedAt: time.Date(2030, 1, day, 0, 0, 0, 0, time.UTC)}, Rig: lab.Rig{Name: name}}
	}
	early, later, other := row(1, "rig", 1), row(1, "West bay ram", 2), row(2, "East bay ram", 1)
	for _, all := range [][]*view.RigRow{{early, other, later}, {later, early, other}} {
		got := oneEach(all)
		if len(got) != 2 || got[0].Rig.Name != "West bay ram" || got[1].Rig.Name != "East bay ram" {
			t.Errorf("%d rows, the first %+v", len(got), got[0].Rig)
		}
	}
}

package view_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/hlc"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
)

// saidWith states a fact of lab A with a channel map beside it.
func (w *world) saidWith(clock hlc.Time, uid uuid.UUID, b lab.Body, mapNo uint64) {
	w.t.Helper()
	r := w.stated(node1, labA, clock, uid, b)
	r.Attachments = []record.Attachment{{SHA256: labtest.Hash(mapNo), Size: 1, Role: lab.RoleMap, Media: "application/toml", Name: fmt.Sprintf("map-%d.toml", mapNo)}}
	w.apply(r)
}

// The maps of a rig are those that its shots were taken in by, and those of the
// scores that hold; a shot is read by the map of the score that holds.
func TestMapsUsed(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	shot := func(name string, rig uuid.UUID, hour int, mapNo uint64) uuid.UUID {
		id := labtest.ID(name)
		b := labtest.Shot(rig, at.Add(time.Duration(hour)*time.Hour), func(s *lab.Shot) { s.MapSHA256 = labtest.Hash(mapNo) })
		w.saidWith(hlc.Time(1000+len(w.seq)), id, b, mapNo)
		return id
	}
	shot("a", rig1, 1, 1)
	shot("b", rig1, 4, 1)
	c := shot("c", rig1, 2, 2)
	shot("d", rig2, 9, 3)
	guess := labtest.ID("guess")
	w.say(guess, labtest.Shot(rig1, at.Add(8*time.Hour), func(s *lab.Shot) { s.MapSHA256 = record.Hash{} }))
	used := func() (out []string) {
		all, err := w.MapsUsed(w.ctx(), onlyA, rig1)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range all {
			out = append(out, fmt.Sprint(m.Name, " ", m.LastUsed.Time().Sub(at)))
		}
		return out
	}
	if got := used(); !slices.Equal(got, []string{"map-1.toml 4h0m0s", "map-2.toml 2h0m0s"}) {
		t.Errorf("before: %q", got)
	}
	again := func(id uuid.UUID, turn uint32, mapNo uint64) {
		w.saidWith(hlc.Time(2000+turn), id, labtest.Score(id, 5, func(s *lab.Score) { s.MapSHA256, s.Turn = labtest.Hash(mapNo), turn }), mapNo)
	}
	again(c, 2, 5)
	again(c, 1, 4) // came late, and does not hold
	again(guess, 1, 1)
	if got := used(); !slices.Equal(got, []string{"map-1.toml 8h0m0s", "map-5.toml 2h0m0s", "map-2.toml 2h0m0s"}) && !slices.Equal(got, []string{"map-1.toml 8h0m0s", "map-2.toml 2h0m0s", "map-5.toml 2h0m0s"}) {
		t.Errorf("after: %q", got)
	}
	for id, want := range map[uuid.UUID]string{c: "map-5.toml", guess: "map-1.toml", labtest.ID("a"): "map-1.toml"} {
		row, err := w.Shot(w.ctx(), onlyA, id)
		if err != nil {
			t.Fatal(err)
		}
		scores, err := w.Scores(w.ctx(), onlyA, id)
		if err != nil {
			t.Fatal(err)
		}
		if a := row.MapOf(scores); a == nil || a.Name != want || a.SHA256 != row.Map() {
			t.Errorf("a shot is read by %+v, want %s", a, want)
		}
	}
}

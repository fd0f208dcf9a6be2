package view_test

import (
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// A hit that was read from a position at which nothing was mounted says so, until
// an entry made late covers it; what the rig does not have is not asked for.
func TestNothingWasMounted(t *testing.T) {
	w := openWorld(t)
	start := labtest.Start()
	fired := start.Add(time.Hour)
	hit, dry, guessed := labtest.ID("hit"), labtest.ID("dry"), labtest.ID("guessed")
	at := []string{"ax", "Ay", "gate"}
	for id, kind := range map[[16]byte]string{hit: lab.ShotHit, dry: lab.ShotDry, guessed: lab.ShotSystemCheck} {
		w.say(id, labtest.Shot(rig1, fired, func(s *lab.Shot) { s.Kind = kind }))
		w.say(id, labtest.Score(id, 5.5, func(s *lab.Score) {
			if id != guessed {
				s.Positions = at
			}
		}))
	}
	says := func(want string) {
		t.Helper()
		f := w.flags(hit)
		if got := f[lab.FlagNothingMounted]; got != want || len(f) > 1 {
			t.Errorf("flags %v, want %q", f, want)
		}
	}
	says("") // of this rig nothing was ever entered
	w.say(labtest.ID("m", 0), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(fired.Add(time.Hour))})
	says("by the register nothing was mounted at ax, Ay, gate")
	if f := w.flags(dry); len(f) != 0 {
		t.Errorf("a dry stroke: %v", f)
	}
	if f := w.flags(guessed); len(f) != 0 {
		t.Errorf("a guessed map: %v", f)
	}
	w.say(labtest.ID("m", 1), &lab.Mounting{Rig: rig1, Position: "AX ", Item: sensor1, EffectiveAt: lab.At(start)})
	says("by the register nothing was mounted at Ay, gate")
	w.say(labtest.ID("m", 2), &lab.Mounting{Rig: rig1, Position: "ay", Item: ram2, EffectiveAt: lab.At(fired.Add(time.Minute))}) // after the shot
	says("by the register nothing was mounted at Ay, gate")
	w.say(labtest.ID("none"), &lab.Absent{Rig: rig1, Position: "gate", Reason: "a speed is typed", EffectiveAt: lab.At(start)})
	says("by the register nothing was mounted at Ay")
	w.say(labtest.ID("m", 3), &lab.Mounting{Rig: rig1, Position: "ax", EffectiveAt: lab.At(start.Add(time.Minute))}) // taken off
	says("by the register nothing was mounted at ax, Ay")
	// Computed again by a map that does not read it.
	w.say(hit, labtest.Score(hit, 5.5, func(s *lab.Score) { s.Positions, s.Turn = []string{"ax"}, 1 }))
	says("by the register nothing was mounted at ax")
}

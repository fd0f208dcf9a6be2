package view_test

import (
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
)

// A reason holds from its time to its end, and no longer than what is mounted;
// a mounting that is entered late ends it all the same.
func TestWentOn(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	on := &lab.WentOn{Rig: rig1, What: []string{"ram: service overdue"}, Reason: "seals are late", EffectiveAt: lab.At(at.Add(time.Hour)), Until: lab.At(at.Add(9 * time.Hour))}
	w.say(labtest.ID("on"), on)
	for i, hours := range []float64{0.5, 1, 5, 9} {
		w.say(labtest.ID("shot", i), labtest.Shot(rig1, at.Add(time.Duration(hours*float64(time.Hour)))))
	}
	w.say(labtest.ID("other"), labtest.Shot(rig2, at.Add(2*time.Hour)))
	flagged := func() (out [4]bool) {
		for i := range out {
			fs, err := w.RigFlags(t.Context(), scope.All(), labtest.ID("shot", i))
			if err != nil {
				t.Fatal(err)
			}
			if out[i] = len(fs) == 1; out[i] && (fs[0].Code != lab.FlagWentOn || fs[0].Text != "ram: service overdue. Reason: seals are late") {
				t.Errorf("shot %d: %+v", i, fs[0])
			}
		}
		return out
	}
	if got, want := flagged(), [4]bool{false, true, true, false}; got != want {
		t.Errorf("flagged %v, want %v", got, want)
	}
	if fs, err := w.RigFlags(t.Context(), scope.All(), labtest.ID("other")); err != nil || len(fs) != 0 {
		t.Errorf("another rig: %v, %v", fs, err)
	}
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(at.Add(3 * time.Hour))})
	if got, want := flagged(), [4]bool{false, true, false, false}; got != want {
		t.Errorf("after a late mounting: flagged %v, want %v", got, want)
	}
	w.say(labtest.ID("on"), &lab.Withdrawn{Doc: labtest.ID("on"), DocKind: lab.KindWentOn, Reason: "wrong rig"})
	if got := flagged(); got != ([4]bool{}) {
		t.Errorf("withdrawn: flagged %v", got)
	}
}

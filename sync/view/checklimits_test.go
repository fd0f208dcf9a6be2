package view_test

import (
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/view"
)

// Limits are for the setup that they name; those of before, which name none, are
// for every one, and of those that are for a check the latest holds.
func TestLimitsOfASetup(t *testing.T) {
	w := openWorld(t)
	hour := func(n float64) lab.Time {
		return lab.At(labtest.Start().Add(time.Duration(n * float64(time.Hour))))
	}
	headA, headB := labtest.ID("head A"), labtest.ID("head B")
	for i, head := range []lab.Mounting{{Item: headA, EffectiveAt: hour(-9)}, {Item: headB, EffectiveAt: hour(2)}, {Item: headA, EffectiveAt: hour(4)}} {
		head.Rig, head.Position = rig1, lab.ClassHeadForm
		w.say(labtest.ID("head mounted", i), &head)
	}
	limit := func(most float64) []lab.CheckLimit {
		return []lab.CheckLimit{{Result: lab.CheckPeak, Most: new(most)}}
	}
	a, b, c := checkAt(w, "a", 1, 105), checkAt(w, "b", 3, 105), checkAt(w, "c", 5, 105)
	states := func() (out string) {
		t.Helper()
		for _, id := range []struct{ shot [16]byte }{{a}, {b}, {c}} {
			k, err := w.Check(w.ctx(), onlyA, id.shot)
			if err != nil || k == nil {
				t.Fatalf("check: %+v %v", k, err)
			}
			switch k.State {
			case view.CheckGood:
				out += "g"
			case view.CheckFailed:
				out += "F"
			default:
				out += "-"
			}
		}
		return out
	}
	want := func(s, when string) {
		t.Helper()
		if got := states(); got != s {
			t.Errorf("%s: %s, want %s", when, got, s)
		}
	}
	want("---", "no limits")
	w.say(labtest.ID("of all"), &lab.CheckLimits{Rig: rig1, Pad: "P-1", EffectiveAt: hour(-8), Limits: limit(100)})
	want("FFF", "limits that name no setup")
	speed := labtest.Shot(rig1, labtest.Start()).TargetSpeedMS
	w.say(labtest.ID("of A"), &lab.CheckLimits{Rig: rig1, Pad: "p-1", EffectiveAt: hour(0), Limits: limit(110), Setup: &lab.CheckSetup{HeadForm: headA, TargetSpeedMS: speed}})
	want("gFg", "limits of head form A")
	w.say(labtest.ID("of another speed"), &lab.CheckLimits{Rig: rig1, Pad: "p-1", EffectiveAt: hour(0), Limits: limit(120), Setup: &lab.CheckSetup{HeadForm: headB, TargetSpeedMS: new(9.9)}})
	want("gFg", "limits of another target speed")
	w.say(labtest.ID("later of all"), &lab.CheckLimits{Rig: rig1, Pad: "p-1", EffectiveAt: hour(4.5), Limits: limit(100)})
	want("gFF", "later limits of every setup")
}

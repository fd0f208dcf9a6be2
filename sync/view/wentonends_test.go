package view_test

import (
	"slices"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
)

// A reason to go on without a service ends with that service, and leaves what
// was fired meanwhile flagged; what else it named goes on, and a service that
// was known before ends nothing.
func TestWentOnEndsWhenMended(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	hour := func(n float64) lab.Time { return lab.At(at.Add(time.Duration(n * float64(time.Hour)))) }
	sensor := labtest.ID("sensor")
	w.say(labtest.ID("before"), &lab.Service{Item: ram1, EffectiveAt: hour(0.5)})
	w.say(labtest.ID("on"), &lab.WentOn{Rig: rig1, What: []string{"ram: service overdue", "az: calibration overdue", "position ay: nothing is mounted"},
		Of: []lab.Lacked{{Item: ram1, Ends: lab.KindService}, {Item: sensor, Ends: lab.KindCalibration}, {}}, Reason: "seals are late", EffectiveAt: hour(1), Until: hour(20)})
	what := func(n float64) []string {
		t.Helper()
		on, err := w.WentOnAt(t.Context(), scope.All(), rig1, hour(n))
		if err != nil || len(on) != 1 {
			t.Fatalf("at hour %g: %v, %v", n, on, err)
		}
		return on[0].WentOn.What
	}
	all := []string{"ram: service overdue", "az: calibration overdue", "position ay: nothing is mounted"}
	if got := what(6); !slices.Equal(got, all) {
		t.Errorf("nothing is mended: %q", got)
	}
	w.say(labtest.ID("service"), &lab.Service{Item: ram1, EffectiveAt: hour(5)})
	w.say(labtest.ID("other"), &lab.Service{Item: sensor, EffectiveAt: hour(5)}) // is no calibration
	if got := what(6); !slices.Equal(got, all[1:]) {
		t.Errorf("after the service: %q", got)
	}
	if got := what(4); !slices.Equal(got, all) {
		t.Errorf("before the service: %q", got)
	}
	w.say(labtest.ID("service"), &lab.Withdrawn{Doc: labtest.ID("service"), DocKind: lab.KindService, Reason: "not done"})
	if got := what(6); !slices.Equal(got, all) {
		t.Errorf("the service is withdrawn: %q", got)
	}
}

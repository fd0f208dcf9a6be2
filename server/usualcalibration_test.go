package server_test

import (
	"net/url"
	"testing"
)

// An item that is added on the server needs calibration as is usual for its kind,
// like one that is added at a rig, unless somebody says otherwise.
func TestNewItemNeedsCalibrationAsUsual(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Ivy", 1)
	for i, x := range []struct {
		class, said string
		needs       bool
	}{{"sensor", "", true}, {"sensor", "no", false}, {"ram", "", false}, {"camera", "yes", true}} {
		serial := "U-" + string(rune('1'+i))
		s.manager.form("/equipment/items", url.Values{"lab": {s.id.String()}, "class": {x.class}, "serial": {serial}, "calibration_required": {x.said}}).want(t, 303, serial)
		found := false
		for _, item := range into[[]struct {
			Serial string
			Needs  bool `json:"calibration_required"`
		}](t, s.manager.get("/api/v1/labs/"+s.id.String()+"/items")) {
			if item.Serial == serial {
				if found = true; item.Needs != x.needs {
					t.Errorf("a %s, said %q, needs calibration: %t", x.class, x.said, item.Needs)
				}
			}
		}
		if !found {
			t.Errorf("%s is not in the register", serial)
		}
	}
}

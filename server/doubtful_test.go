package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// TestDoubtfulCertificates: a certificate that its item speaks against is asked
// about once, and taken when a person says that it is meant so.
func TestDoubtfulCertificates(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Larch", 1)
	base := "/api/v1/labs/" + s.id.String()
	day := func(n int) string { return time.Now().AddDate(0, 0, n).Format(time.DateOnly) }
	form := func(item, sensitivity string) url.Values {
		return url.Values{"item": {item}, "effective_at": {day(-5)}, "due_at": {day(300)}, "certificate": {"K-1"}, "sensitivity": {sensitivity}, "sensitivity_unit": {"mV/g"}}
	}
	item := func(class, serial string) string {
		return s.manager.make(base+"/items", lab.Item{Class: class, Serial: serial}).String()
	}
	gone := item(lab.ClassSensor, "L-3")
	s.manager.form("/equipment/states", url.Values{"item": {gone}, "state": {lab.StateRetired}, "reason": {"cable torn"}, "effective_at": {day(-1) + "T10:00"}}).want(t, 303, "retired")
	for _, x := range []struct {
		v    url.Values
		want string
	}{
		{form(item(lab.ClassHose, "L-1"), "1.0"), "A hose has no sensitivity."},
		{form(item(lab.ClassSensor, "L-2"), "-1.0"), "-1 is below zero"},
		{form(gone, "1.0"), "(cable torn)."},
	} {
		if a := s.manager.form("/equipment/calibrations", x.v).want(t, 409, x.want); !strings.Contains(words(a.body), x.want) {
			t.Errorf("the doubt %q is not said: %.1500s", x.want, words(a.body))
		}
		s.manager.form("/equipment/calibrations", with(x.v, "confirmed", "yes")).want(t, 303, "confirmed")
	}
}

package present

import (
	"testing"

	"thudbook/sync/view"
	"thudbook/web/page"
)

func TestServiceInWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		interval, since int64
		level           page.Level
		word            string
	}{
		{0, 5000, page.Plain, "no interval set"},
		{1000, 899, page.OK, "due in 101 strokes"},
		{1000, 900, page.Warn, "due in 100 strokes"},
		{1000, 999, page.Warn, "due in 1 stroke"},
		{1000, 1000, page.Bad, "service due now"},
		{1000, 1001, page.Bad, "overdue by 1 stroke"},
		{1000, 3234, page.Bad, "overdue by 2\u202f234 strokes"},
	} {
		if s := Service(&view.Usage{Interval: c.interval, StrokesSinceService: c.since}); s.Level != c.level || s.Word != c.word {
			t.Errorf("%d of %d: %+v, want %q", c.since, c.interval, s, c.word)
		}
	}
}

func TestCalibrationInWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		state view.Due
		days  int64
		level page.Level
		word  string
	}{
		{view.NotRequired, 0, page.Plain, "not required"},
		{view.NeverCalibrated, 0, page.Bad, "no calibration recorded"},
		{view.InCalibration, 200, page.OK, "in calibration"},
		{view.DueSoon, 29, page.Warn, "due in 29 days"},
		{view.DueSoon, 0, page.Warn, "due today"},
		{view.Overdue, -1, page.Bad, "overdue since less than a day"},
		{view.Overdue, -13, page.Bad, "overdue by 12 days"}, // 12 days and some hours, rounded down
	} {
		if s := Calibration(&view.CalibrationState{State: c.state, Days: c.days}); s.Level != c.level || s.Word != c.word {
			t.Errorf("%s, %d days: %+v, want %q", c.state, c.days, s, c.word)
		}
	}
}

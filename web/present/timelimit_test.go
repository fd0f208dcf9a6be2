package present_test

import (
	"strings"
	"testing"
	"time"

	"thudbook/web/page"
	"thudbook/web/present"
)

func TestTimeLimits(t *testing.T) {
	now := time.Date(2031, 3, 14, 15, 0, 0, 0, time.UTC)
	ago := func(s int) time.Time { return now.Add(-time.Duration(s) * time.Second) }
	for _, x := range []struct {
		what  string
		got   page.TimeLimit
		level page.Level
		words string
	}{
		{"in time", present.OutLimit(300, ago(194), now, true), page.OK, "1 min 46 s left of 5 min"},
		{"to the second", present.OutLimit(300, ago(300), now, true), page.Bad, "the 5 min are exceeded"},
		{"not out, but it should be", present.OutLimit(300, time.Time{}, now, true), page.Plain, "at most 5 min; press it when"},
		{"not out", present.OutLimit(300, time.Time{}, now, false), page.Plain, "at most 5 min"},
		{"clock set back", present.OutLimit(300, ago(-3600), now, true), page.Warn, "not known: the clock was set back"},
		{"too early", present.RestLimit(900, ago(660), now), page.Warn, "wait 4 min more, of 15 min"},
		{"rested", present.RestLimit(900, ago(901), now), page.OK, "the 15 min of rest are over"},
		{"hit in the future", present.RestLimit(900, ago(-1), now), page.Warn, "not known"},
		{"never hit", present.RestLimit(900, time.Time{}, now), page.Plain, ""},
		{"not limited", present.OutLimit(0, ago(9), now, true), page.Plain, ""},
		{"hours", present.OutLimit(7200, ago(60), now, true), page.OK, "1 h 59 min left of 2 h 0 min"},
	} {
		if s := x.got.State; s.Level != x.level || !strings.HasPrefix(s.Word, x.words) || x.words == "" && s.Word != "" {
			t.Errorf("%s: %+v, want level %d and %q", x.what, s, x.level, x.words)
		}
	}
}

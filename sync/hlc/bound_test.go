package hlc_test

import (
	"testing"
	"time"

	"thudbook/sync/hlc"
)

const years = 365 * 24 * time.Hour

// A node that wrote at noon, and whose wall clock then shows something else:
// where its next stamp lies, and up to where a stamp of others is folded in.
func TestBoundsOfAWrongClock(t *testing.T) {
	for name, tc := range map[string]struct {
		last     hlc.Time
		wall     time.Time
		ahead    *time.Duration // as measured; nil: nobody was asked
		next     time.Time
		foldedTo time.Time // and ten minutes
	}{
		"right":                             {last: hlc.At(noon), wall: noon.Add(time.Hour), next: noon.Add(time.Hour), foldedTo: noon.Add(time.Hour)},
		"after a year":                      {last: hlc.At(noon), wall: noon.Add(years), next: noon.Add(years), foldedTo: noon.Add(years)},
		"2099, nobody asked":                {last: hlc.At(noon), wall: noon.Add(73 * years), next: noon, foldedTo: noon},
		"2099, measured":                    {last: hlc.At(noon), wall: noon.Add(73 * years), ahead: new(73*years - time.Hour), next: noon.Add(time.Hour), foldedTo: noon.Add(time.Hour)},
		"an hour ahead, measured":           {last: hlc.At(noon), wall: noon.Add(3 * time.Hour), ahead: new(time.Hour), next: noon.Add(2 * time.Hour), foldedTo: noon.Add(2 * time.Hour)},
		"after two years, borne out":        {last: hlc.At(noon), wall: noon.Add(2 * years), ahead: new(time.Duration(0)), next: noon.Add(2 * years), foldedTo: noon.Add(2 * years)},
		"1970, nobody asked":                {last: hlc.At(noon), wall: time.Unix(5, 0), next: noon, foldedTo: time.Unix(5, 0)},
		"1970, measured":                    {last: hlc.At(noon), wall: time.Unix(5, 0), ahead: new(time.Unix(5, 0).Sub(noon.Add(48 * time.Hour))), next: noon, foldedTo: noon.Add(48 * time.Hour)},
		"1970, others in 2099":              {last: hlc.At(noon), wall: time.Unix(5, 0), ahead: new(time.Unix(5, 0).Sub(noon.Add(73 * years))), next: noon, foldedTo: noon},
		"right, others in 2099":             {last: hlc.At(noon), wall: noon.Add(time.Hour), ahead: new(time.Hour - 73*years), next: noon.Add(time.Hour), foldedTo: noon.Add(time.Hour)},
		"right, others in 1970":             {last: hlc.At(noon), wall: noon.Add(time.Hour), ahead: new(noon.Add(time.Hour).Sub(time.Unix(5, 0))), next: noon.Add(time.Hour), foldedTo: noon.Add(time.Hour)},
		"no stamp yet":                      {wall: noon, next: noon, foldedTo: noon},
		"no stamp yet, 2099, nobody asked":  {wall: noon.Add(73 * years), next: time.UnixMilli(0), foldedTo: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)},
		"no stamp yet, 1970, then measured": {wall: time.Unix(5, 0), ahead: new(time.Unix(5, 0).Sub(noon)), next: time.Unix(5, 0), foldedTo: noon},
	} {
		open := func() *hlc.Clock {
			c := hlc.New(tc.last, fixed(tc.wall))
			if tc.ahead != nil {
				c.Measured(*tc.ahead)
			}
			return c
		}
		next := open().Tick()
		if next <= tc.last {
			t.Errorf("%s: stamp %d after %d", name, next, tc.last)
		}
		if !next.Wall().Equal(tc.next.Truncate(time.Millisecond).UTC()) {
			t.Errorf("%s: the next stamp lies at %v, want %v", name, next.Wall(), tc.next)
		}
		edge := hlc.At(tc.foldedTo.Add(hlc.MaxAhead))
		if open().Fold(edge) || !open().Fold(hlc.At(tc.foldedTo.Add(hlc.MaxAhead+time.Millisecond))) {
			t.Errorf("%s: the bound of stamps that are folded in is not ten minutes after %v", name, tc.foldedTo)
		}
		if c := open(); c.Fold(edge) || c.Tick() <= edge {
			t.Errorf("%s: the stamp after one that was folded in is not after it", name)
		}
	}
}

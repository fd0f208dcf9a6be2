package format_test

import (
	"slices"
	"strings"
	"testing"

	"thudbook/metrics/format"
)

// A line above the header may list the units by the columns' names, as the files
// of the simulated rig do; the proposal then warns of no unit.
func TestUnitsLineAboveTheHeader(t *testing.T) {
	rows := "\nt,ax,wy,gate\n0,1,2,3\n0.001,1,2,3\n0.002,1,2,3\n0.003,1,2,3\n"
	for line, want := range map[string][]string{
		"units: t ms; ax m/s2; wy deg/s; gate V":   {"ms", "m/s2", "deg/s", "V"},
		"# Units: t ms; wy deg/s":                  {"ms", "", "deg/s", ""},
		"units: somebody else; said so":            nil,
		"the units: t ms; ax m/s2; wy deg/s; gate": nil,
	} {
		_, units, err := format.Headers(t.Context(), strings.NewReader("a record\n"+line+rows))
		if err != nil || !slices.Equal(units, want) {
			t.Errorf("%q: units %q, %v, want %q", line, units, err, want)
		}
	}
	m, unsure, err := format.Propose(t.Context(), strings.NewReader("units: t ms; ax m/s2; wy deg/s; gate V"+rows))
	if err != nil || len(unsure) != 0 || len(m.Channels) != 3 || m.Channels[0].Unit != "m/s2" || m.Channels[1].Unit != "deg/s" || m.Time.Unit != "ms" {
		t.Errorf("proposed %+v, unsure %q, %v", m, unsure, err)
	}
}

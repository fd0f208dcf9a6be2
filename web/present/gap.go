package present

import (
	"cmp"
	"slices"
	"strings"

	"thudbook/sync/lab"
	"thudbook/sync/view"
)

// Gap names what a planned hit lacks of what its cell needs, as "channel az,
// speed"; "" when there is nothing.
func Gap(r *view.ShotRow, s *lab.Score, cell *lab.Cell) string {
	var out []string
	faults := s.Faults
	if len(faults) == 0 && s.Error != nil {
		faults = []lab.Fault{*s.Error}
	}
	for _, f := range faults {
		if what := "channel " + f.Channel; f.Channel != "" && !slices.Contains(out, what) {
			out = append(out, what)
		}
	}
	if _, ok := s.Results["peak_linear_acceleration"]; !ok && len(out) == 0 {
		out = append(out, "linear acceleration")
	}
	if r.SpeedMS() == nil && cell.ToleranceMS > 0 {
		out = append(out, "speed")
	}
	return strings.Join(out, ", ")
}

// HitOf names a planned hit, as "FG-01, front".
func HitOf(r *view.ShotRow) string {
	return cmp.Or(strings.Join(slices.DeleteFunc([]string{r.Shot.Specimen, r.Shot.Location, r.Shot.Condition}, func(s string) bool { return s == "" }), ", "), Kind(r.Shot.Kind))
}

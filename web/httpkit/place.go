package httpkit

import (
	"regexp"
	"slices"
	"strings"

	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// fieldName is the name of a field in a record's JSON, where it has several words.
var fieldName = regexp.MustCompile(`^[a-z0-9]+(_[a-z0-9]+)+$`)

// fieldUnits are the ends of field names that say a unit.
func fieldUnits() [][2]string {
	return [][2]string{{"_m_s", ", m/s"}, {"_kpa_gauge", ", kPa gauge"}, {"_kpa", ", kPa"}, {"_mm", ", mm"}, {"_kg", ", kg"}, {"_percent", ", %"}, {"_minutes", ", min"}, {"_s", ", s"}, {"_at", ""}}
}

// PlaceWords gives the place of a problem as people read it: the names of
// fields and of kinds of records as words, everything else as it is.
func PlaceWords(where string) string {
	parts := strings.Split(where, ", ")
	for i, p := range parts {
		switch {
		case slices.Contains(lab.Kinds(), record.Kind(p)):
			parts[i] = lab.KindWords(record.Kind(p))
		case fieldName.MatchString(p):
			unit := ""
			for _, u := range fieldUnits() {
				if rest, ok := strings.CutSuffix(p, u[0]); ok && rest != "" {
					p, unit = rest, u[1]
					break
				}
			}
			parts[i] = strings.ReplaceAll(p, "_", " ") + unit
		}
	}
	return strings.Join(parts, ", ")
}

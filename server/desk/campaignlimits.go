package desk

import (
	"strings"

	"thudbook/metrics/limits"
	"thudbook/sync/lab"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// limitsOf reads the acceptance limits of a campaign's form, one a line: a result,
// what it may be at most with its unit, and where the figure is from.
func limitsOf(f *httpkit.Filled, field string) []lab.Limit {
	var out []lab.Limit
	for line := range strings.Lines(f.Values[field]) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		parts := append(strings.SplitN(line, ";", 3), "", "")
		l := lab.Limit{Result: resultKey(parts[0]), Source: strings.Join(strings.Fields(parts[2]), " ")}
		unit, known := present.ResultUnit(l.Result)
		if !known {
			f.Fault(field, "“%s” is no result. Write one of %s.", strings.TrimSpace(parts[0]), strings.Join(present.ResultKeys(), ", "))
			continue
		}
		number, typed, _ := strings.Cut(strings.TrimSpace(parts[1]), " ")
		most, err := page.ParseDecimal(number)
		if err != nil {
			f.Fault(field, "%s: %v. Write the line as result; at most with its unit; source.", l.Result, err)
			continue
		}
		l.Most, l.Unit = most, strings.TrimSpace(typed)
		if l.Unit == "" {
			l.Unit = unit
		}
		if _, ok := (&limits.Limit{Most: l.Most, Unit: l.Unit}).In(unit); !ok {
			f.Fault(field, "%s: “%s” is no unit of this result. Leave it out for %s.", l.Result, typed, unitWords(unit))
			continue
		}
		out = append(out, l)
	}
	if n := len(out); n > lab.MaxLimits {
		f.Fault(field, "These are %d limits; one campaign holds at most %d.", n, lab.MaxLimits)
	}
	return out
}

// resultKey takes a result by its key, or by the name that the screens show.
func resultKey(typed string) string {
	typed = strings.Join(strings.Fields(typed), " ")
	for _, key := range present.ResultKeys() {
		if strings.EqualFold(typed, key) || strings.EqualFold(typed, page.MetricName(key)) {
			return key
		}
	}
	return typed
}

func unitWords(unit string) string {
	if unit == "" {
		return "a bare number"
	}
	return unit
}

package desk

import (
	"slices"
	"strings"

	"thudbook/sync/lab"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// criteriaOf reads with what a specimen passes its inspection, one line an
// element: the worst condition that passes, the largest lasting deformation in
// mm, and where the criterion is from. One of the two may be empty.
func criteriaOf(f *httpkit.Filled, field string) []lab.InspectionLimit {
	var out []lab.InspectionLimit
	for line := range strings.Lines(f.Values[field]) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		parts := append(strings.SplitN(line, ";", 4), "", "", "")
		l := lab.InspectionLimit{Source: strings.Join(strings.Fields(parts[3]), " ")}
		ok := true
		word := func(typed, what string, of []string) string {
			typed = strings.TrimSpace(typed)
			for _, w := range of {
				if strings.EqualFold(typed, w) {
					return w
				}
			}
			f.Fault(field, "“%s” is no %s. Write one of %s.", typed, what, strings.Join(of, ", "))
			ok = false
			return ""
		}
		l.Element = word(parts[0], "element", lab.Elements())
		if strings.TrimSpace(parts[1]) != "" {
			l.Worst = word(parts[1], "condition", lab.Grades())
		}
		if typed := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(parts[2]), "mm")); typed != "" {
			most, err := page.ParseDecimal(typed)
			if err != nil {
				f.Fault(field, "%s: %v. Write the line as element; worst condition that passes; at most, in mm; source.", strings.TrimSpace(parts[0]), err)
				continue
			}
			l.MostMM = &most
		}
		switch {
		case !ok:
		case l.Worst == "" && l.MostMM == nil:
			f.Fault(field, "%s: this line limits nothing. Give the worst condition that passes, a deformation in mm, or both.", l.Element)
		case slices.ContainsFunc(out, func(o lab.InspectionLimit) bool { return o.Element == l.Element }):
			f.Fault(field, "%s stands there twice. Keep one line an element.", l.Element)
		default:
			out = append(out, l)
		}
	}
	return out
}

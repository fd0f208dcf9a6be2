package present

import (
	"slices"

	"thudbook/sync/lab"
	"thudbook/web/page"
)

// MapPreview compares the result that holds, which may be nil, with the one that
// another channel map gives. Flags of taking in are in both.
func MapPreview(before, after *lab.Score) page.MapPreview {
	if before == nil {
		before = &lab.Score{}
	}
	p := page.MapPreview{Errors: fileErrors(after)}
	for _, key := range resultKeys(before.Results, after.Results) {
		name := page.MetricName(key)
		p.Rows = append(p.Rows, page.MapResult{Name: name, Pair: Pairs(key, before, after), Moves: Moves(key, before, after)})
	}
	p.Gone, p.Come = Flags(without(before.Flags, after.Flags)), Flags(without(after.Flags, before.Flags))
	if n := len(after.Flags) - len(p.Come); n > 0 {
		p.Stay = Count(int64(n), "flag stays.", "flags stay.")
	}
	return p
}

// without lists the flags of one result that another does not have.
func without(all, other []lab.Flag) []lab.Flag {
	return slices.DeleteFunc(slices.Clone(all), func(f lab.Flag) bool { return slices.Contains(other, f) })
}

// resultKeys names the results of any of these, in the order of the screens.
func resultKeys(all ...map[string]lab.Result) []string {
	have := map[string]lab.Result{}
	for _, some := range all {
		for key, r := range some {
			have[key] = r
		}
	}
	var keys []string
	for _, r := range Results(have) {
		keys = append(keys, r.Key)
	}
	return keys
}

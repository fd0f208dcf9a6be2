package present

import (
	"thudbook/sync/lab"
	"thudbook/web/manual"
)

// ManualFlags are the manual's rows for the flags that do not come from the
// computation.
func ManualFlags() []manual.Flag {
	var all []manual.Flag
	for _, m := range lab.FlagTable() {
		all = append(all, manual.Flag{Code: m.Code, Meaning: m.Meaning, Action: m.Action})
	}
	return all
}

package desk

import (
	"slices"

	"thudbook/web/page"
)

// zoned says at the times of forms in which zone they are read.
func (d *Desk) zoned(forms ...*page.Form) {
	text := "In the zone of this server, " + page.ZoneOf(d.Now().In(d.zone)) + " now."
	for _, f := range forms {
		f.Fields = slices.Clone(f.Fields)
		for i := range f.Fields {
			x := &f.Fields[i]
			if x.Kind != "datetime-local" {
				continue
			}
			if x.Help != "" {
				x.Help += " "
			}
			x.Help += text
		}
	}
}

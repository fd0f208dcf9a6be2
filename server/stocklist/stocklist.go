// Package stocklist reads and writes a lab's register of equipment as a table
// of delimited text: what a lab keeps in a spreadsheet today. Reading gives all
// faults at once, each with its line and column; comparing says what a list
// would change before anything is written.
package stocklist

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"thudbook/sync/lab"
)

// column is one column of the table. The head of the column is its name.
type column struct {
	name string
	get  func(*Have) string
	set  func(*entry, string) error // called with what is not empty
	text string                     // what to write there, for a fault
}

// entry is one line while it is read: an item, and its state and place.
type entry struct {
	item            lab.Item
	state, location string
}

// Have is one item of the register, or of a list.
type Have struct {
	Item            lab.Item
	State, Location string // "" as state: in service
}

func columns() []column {
	text := func(name string, at func(*lab.Item) *string) column {
		return column{name: name, get: func(h *Have) string { return *at(&h.Item) },
			set: func(e *entry, s string) error { *at(&e.item) = s; return nil }}
	}
	count := func(name string, at func(*lab.Item) *int64) column {
		return column{name: name, text: "a whole number, as 1000",
			get: func(h *Have) string {
				if n := *at(&h.Item); n != 0 {
					return strconv.FormatInt(n, 10)
				}
				return ""
			},
			set: func(e *entry, s string) (err error) { *at(&e.item), err = whole(s); return err }}
	}
	return []column{
		text("class", func(i *lab.Item) *string { return &i.Class }),
		text("serial", func(i *lab.Item) *string { return &i.Serial }),
		text("asset_number", func(i *lab.Item) *string { return &i.AssetNumber }),
		text("name", func(i *lab.Item) *string { return &i.Name }),
		text("maker", func(i *lab.Item) *string { return &i.Maker }),
		text("model", func(i *lab.Item) *string { return &i.Model }),
		{name: "state", text: strings.Join(lab.States(), ", "), get: func(h *Have) string { return cmp.Or(h.State, lab.StateInService) },
			set: func(e *entry, s string) error {
				if e.state = lab.Fold(s); !slices.Contains(lab.States(), e.state) {
					return fmt.Errorf("“%s” is no state", s)
				}
				return nil
			}},
		{name: "location", get: func(h *Have) string { return h.Location }, set: func(e *entry, s string) error { e.location = s; return nil }},
		count("service_every_strokes", func(i *lab.Item) *int64 { return &i.ServiceEveryStrokes }),
		count("service_every_days", func(i *lab.Item) *int64 { return &i.ServiceEveryDays }),
		count("opening_strokes", func(i *lab.Item) *int64 { return &i.OpeningStrokes }),
		{name: "calibration_required", text: "yes or no", get: func(h *Have) string {
			if h.Item.CalibrationRequired {
				return "yes"
			}
			return "no"
		}, set: func(e *entry, s string) (err error) { e.item.CalibrationRequired, err = yes(s); return err }},
	}
}

// Columns names the columns, in the order of an export.
func Columns() []string {
	var out []string
	for _, c := range columns() {
		out = append(out, c.name)
	}
	return out
}

func whole(s string) (int64, error) {
	n, err := strconv.ParseInt(strings.Map(func(r rune) rune {
		switch r {
		case ' ', '\u00a0', '\u202f':
			return -1
		}
		return r
	}, s), 10, 64)
	if err != nil || n < 0 {
		return 0, fmt.Errorf("“%s” is no whole number", s)
	}
	return n, nil
}

func yes(s string) (bool, error) {
	switch lab.Fold(s) {
	case "yes", "y", "true", "1", "x":
		return true, nil
	case "no", "n", "false", "0":
		return false, nil
	}
	return false, fmt.Errorf("“%s” is neither yes nor no", s)
}

// key is what two lines of the same item have in common.
func key(i *lab.Item) string { return lab.Fold(i.Class) + "\x00" + lab.Fold(i.Serial) }

package stocklist

import (
	"encoding/csv"
	"io"

	"thudbook/web/present"
)

// Write writes a register as a table with commas, in UTF-8.
func Write(w io.Writer, all []Have) error {
	out := csv.NewWriter(w)
	if err := out.Write(Columns()); err != nil {
		return err
	}
	cols := columns()
	cells := make([]string, len(cols))
	for i := range all {
		for j, c := range cols {
			cells[j] = present.Guard(c.get(&all[i]))
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

package present

import (
	"context"
	"iter"
	"slices"

	"thudbook/sync/lab"
	"thudbook/sync/view"
)

// ShotHead are the columns of all shots as CSV: a row for each shot, dry stroke
// with a file and system check.
func ShotHead() []string {
	head := slices.DeleteFunc(DayHead(), func(name string) bool { return name == "text" || name == "strokes" })
	return append(head, "severity_index", "operator", "file_name", "taken_in_at")
}

// ShotLines gives the shots of the scope, of every day, under ShotHead, oldest first, with all
// digits; those on one specimen where it is named. Times are in UTC.
func (d *Day) ShotLines(ctx context.Context, specimen string) iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		head := ShotHead()
		for q := (view.Page{Limit: view.MaxLimit}); ; {
			list, err := d.Read.Shots(ctx, d.Scope, view.ShotFilter{Specimen: specimen, Oldest: true}, q)
			if err != nil {
				yield(nil, err)
				return
			}
			for i := range list.Rows {
				r := &list.Rows[i]
				cells, err := d.shotCells(ctx, r)
				if err != nil {
					yield(nil, err)
					return
				}
				cells["at"], cells["what"], cells["id"], cells["author"] = r.Shot.EffectiveAt.String(), Kind(r.Shot.Kind), r.ID.String(), r.Author
				cells["operator"], cells["file_name"], cells["taken_in_at"] = r.Shot.Operator, r.Shot.FileName, lab.At(r.RecordedAt).String()
				if r.Figures != nil {
					cells["severity_index"] = plain(r.Figures.SeverityIndex)
				}
				row := make([]string, len(head))
				for i, name := range head {
					row[i] = cells[name]
				}
				if !yield(row, nil) {
					return
				}
			}
			if q.After = list.Next; list.Next == "" {
				return
			}
		}
	}
}

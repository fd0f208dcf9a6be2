package present_test

import (
	"slices"
	"testing"
	"time"

	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// A list must not say "none" of a shot whose sensor was overdue: FillLab has one.
func TestListRowSaysWhatWasOverdue(t *testing.T) {
	t.Parallel()
	n := labtest.Open(t)
	f := labtest.FillLab(t, n.Ledger, 1, labtest.Options{})
	row, err := n.Reader.Shot(t.Context(), scope.All(), f.Shots[0])
	if err != nil {
		t.Fatal(err)
	}
	p, err := present.ListRow(t.Context(), n.Reader, scope.All(), &row, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	// One sensor was overdue, and four were calibrated only after this shot: one line each in a list.
	want := []page.Flag{{Code: "calibration_missing", Text: "calibration missing", Level: page.Bad}, {Code: "calibration_overdue", Text: "calibration overdue", Level: page.Bad}}
	if !slices.Equal(p.Flags, want) {
		t.Errorf("flags: %+v, want %+v", p.Flags, want)
	}
	all, err := present.RigFlags(t.Context(), n.Reader, scope.All(), row.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != 5 || all[3].Channel != "wy" || all[3].Code != "calibration_overdue" {
		t.Errorf("on the shot's own screen: %+v, want all five with their positions", all)
	}
}

// BenchmarkList is a page of 50 rows with what the equipment says, beside the
// reading of the page without it.
func BenchmarkList(b *testing.B) {
	n := labtest.Open(b)
	labtest.FillLab(b, n.Ledger, 200, labtest.Options{})
	list := func() []view.ShotRow {
		l, err := n.Reader.Shots(b.Context(), scope.All(), view.ShotFilter{}, view.Page{Limit: 50})
		if err != nil || len(l.Rows) != 50 {
			b.Fatal(len(l.Rows), err)
		}
		return l.Rows
	}
	b.Run("rows", func(b *testing.B) {
		for b.Loop() {
			for _, r := range list() {
				present.ShotRow(&r, time.UTC)
			}
		}
	})
	b.Run("rows-with-equipment", func(b *testing.B) {
		for b.Loop() {
			for _, r := range list() {
				if _, err := present.ListRow(b.Context(), n.Reader, scope.All(), &r, time.UTC); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}

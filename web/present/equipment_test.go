package present_test

import (
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
	if len(p.Flags) == 0 || p.Flags[0] != (page.Flag{Code: "calibration_overdue", Text: "calibration overdue", Level: page.Bad}) {
		t.Errorf("flags: %+v", p.Flags)
	}
	sensors, err := n.Reader.SensorsOf(t.Context(), scope.All(), row.ID)
	if err != nil {
		t.Fatal(err)
	}
	if all := present.EquipmentFlags(sensors); len(all) != 1 || all[0].Channel != "wx" {
		t.Errorf("on the shot's own screen: %+v, want the position", all)
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

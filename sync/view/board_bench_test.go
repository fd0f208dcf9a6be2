package view_test

import (
	"fmt"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// BenchmarkBoard reads what the health board needs of every item of three labs:
// plan and forecast, state, calibration. The figure to look at is the ratio of
// the two sizes.
func BenchmarkBoard(b *testing.B) {
	for _, shots := range []int{3_000, 30_000} {
		b.Run(fmt.Sprintf("shots=%d", shots), func(b *testing.B) {
			n := labtest.Open(b)
			var now time.Time
			for i := range 3 {
				f := labtest.FillLab(b, n.Ledger, shots/3, labtest.Options{Seed: uint64(i)})
				if f.Last.After(now) {
					now = f.Last
				}
			}
			ctx := b.Context()
			for b.Loop() {
				l, err := n.Reader.Items(ctx, scope.All(), "", view.Page{Limit: view.MaxLimit})
				if err != nil || len(l.Rows) != 21 {
					b.Fatalf("%d items, %v", len(l.Rows), err)
				}
				for _, i := range l.Rows {
					if _, err := n.Reader.ServiceDue(ctx, scope.All(), i.ID, now); err != nil {
						b.Fatal(err)
					}
					if _, err := n.Reader.CalibrationAt(ctx, scope.All(), i.ID, lab.At(now)); err != nil {
						b.Fatal(err)
					}
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms/board")
		})
	}
}

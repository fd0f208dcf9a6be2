package upkeep_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
)

// BenchmarkBoardWithConditions looks at every item of three labs, whose classes
// all have plans by strokes, by days, and by what is seen at the rig: failed
// checks and drifts of the speed; and at twins. The baseline in the same run is
// one plain pass over the list of shots.
func BenchmarkBoardWithConditions(b *testing.B) {
	for _, shots := range []int{10_000, 100_000} {
		b.Run(fmt.Sprintf("shots=%d", shots), func(b *testing.B) {
			n := labtest.Open(b)
			var now time.Time
			for i := range 3 {
				f := labtest.FillLab(b, n.Ledger, shots/3, labtest.Options{Seed: uint64(i)})
				if f.Last.After(now) {
					now = f.Last
				}
				for _, class := range []string{lab.ClassRam, lab.ClassSensor} {
					labtest.Append(b, n.Ledger, f.Lab, labtest.Draft(b, lab.ServicePlanOf(f.Lab, class), &lab.ServicePlan{Class: class, EveryStrokes: 5000, EveryDays: 90, AfterCheck: true, AfterDrift: true}))
				}
			}
			ctx := b.Context()
			began, seen := time.Now(), 0
			for page := (view.Page{Limit: view.MaxLimit}); ; {
				l, err := n.Reader.Shots(ctx, scope.All(), view.ShotFilter{}, page)
				if err != nil {
					b.Fatal(err)
				}
				seen += len(l.Rows)
				if page.After = l.Next; l.Next == "" {
					break
				}
			}
			pass := time.Since(began)
			if seen < shots-3 {
				b.Fatalf("%d shots", seen)
			}
			l, err := n.Reader.Items(ctx, scope.All(), "", view.Page{Limit: view.MaxLimit})
			if err != nil || len(l.Rows) != 21 {
				b.Fatalf("%d items, %v", len(l.Rows), err)
			}
			var all []time.Duration
			for b.Loop() {
				began := time.Now()
				w := &upkeep.Watch{Read: n.Reader, Scope: scope.All(), Now: now}
				for i := range l.Rows {
					d, err := w.Of(ctx, l.Rows[i].ID)
					if err != nil {
						b.Fatal(err)
					}
					if _, err := w.Twins(ctx, d.Rig, d.Position); err != nil {
						b.Fatal(err)
					}
				}
				all = append(all, time.Since(began))
			}
			slices.Sort(all)
			b.ReportMetric(float64(all[len(all)/2].Microseconds())/1000, "ms-median")
			b.ReportMetric(float64(all[len(all)*99/100].Microseconds())/1000, "ms-p99")
			b.ReportMetric(float64(all[len(all)/2])/float64(pass), "of-a-pass")
		})
	}
}

package desk

import (
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

func onlyOf(f *labtest.Filled) scope.Scope { return scope.Labs(f.Lab) }

// oneByOne finds what was computed before a late entry by reading the results of
// each stroke, as it was done before.
func (d *Desk) oneByOne(t testing.TB, e *lateEntry, f *labtest.Filled, n *labtest.Node) (stale []view.ShotRow) {
	t.Helper()
	shots, err := n.Reader.FiredWith(t.Context(), onlyOf(f), e.item.ID, e.at, e.to)
	if err != nil {
		t.Fatal(err)
	}
	for i := range shots {
		if shots[i].Figures == nil || shots[i].Shot.MapSHA256 == [32]byte{} {
			continue
		}
		scores, err := n.Reader.Scores(t.Context(), onlyOf(f), shots[i].ID)
		if err != nil {
			t.Fatal(err)
		}
		if len(scores) > 0 && scores[0].RecordedAt.Before(e.head.RecordedAt) {
			stale = append(stale, shots[i])
		}
	}
	return stale
}

// lateIn fills a lab, enters a certificate of its sensor late, and scores some
// strokes again since.
func lateIn(t testing.TB, shots, again int) (*Desk, *lateEntry, *labtest.Filled, *labtest.Node) {
	t.Helper()
	n := labtest.Open(t)
	f := labtest.FillLab(t, n.Ledger, shots, labtest.Options{First: time.Now().Add(-1000 * time.Hour)})
	d := &Desk{Options: Options{Views: n.Reader}, zone: time.UTC}
	i, err := n.Reader.Item(t.Context(), onlyOf(&f), f.Sensors[0])
	if err != nil {
		t.Fatal(err)
	}
	all, err := n.Reader.FiredWith(t.Context(), onlyOf(&f), i.ID, 0, lab.At(f.Last)+1)
	if err != nil || len(all) != shots {
		t.Fatalf("%d strokes, %v", len(all), err)
	}
	labtest.Append(t, n.Ledger, f.Lab, labtest.Draft(t, labtest.ID("late"), &lab.Calibration{Item: i.ID, EffectiveAt: all[0].Shot.EffectiveAt, DueAt: lab.At(f.Last.AddDate(1, 0, 0)), Certificate: "late"}))
	for k := range again {
		id := all[k*3].ID
		labtest.Append(t, n.Ledger, f.Lab, labtest.Draft(t, id, labtest.Score(id, 5.5, func(s *lab.Score) { s.Turn = 1 })))
	}
	late, err := d.lateOf(t.Context(), onlyOf(&f), &i, nil, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	for k := range late {
		if late[k].kind == lateCertificate && late[k].head.ID == labtest.ID("late") {
			late[k].to = lab.At(f.Last) + 1
			return d, &late[k], &f, n
		}
	}
	t.Fatal("the certificate is not late")
	return nil, nil, nil, nil
}

// What was computed before a late entry is found without reading any result.
func TestTouchedEqualsOneByOne(t *testing.T) {
	d, e, f, n := lateIn(t, 300, 40)
	shots, stale, err := d.touched(t.Context(), onlyOf(f), e)
	want := d.oneByOne(t, e, f, n)
	if err != nil || len(shots) != 300 || len(stale) != len(want) || len(want) == 0 || len(want) > 260 {
		t.Fatalf("%d strokes, %d stale, one by one %d, %v", len(shots), len(stale), len(want), err)
	}
	for i := range stale {
		if stale[i].ID != want[i].ID {
			t.Errorf("stroke %d is %s, one by one %s", i, stale[i].ID, want[i].ID)
		}
	}
}

// BenchmarkTouched finds the strokes of a late entry, with what was computed
// before it; the baseline in the same run reads the results one by one.
func BenchmarkTouched(b *testing.B) {
	d, e, f, n := lateIn(b, 50_000, 0)
	var before, now time.Duration
	for b.Loop() {
		began := time.Now()
		want := d.oneByOne(b, e, f, n)
		before += time.Since(began)
		began = time.Now()
		_, stale, err := d.touched(b.Context(), onlyOf(f), e)
		now += time.Since(began)
		if err != nil || len(stale) != len(want) {
			b.Fatalf("%d stale, one by one %d, %v", len(stale), len(want), err)
		}
	}
	b.ReportMetric(float64(before)/float64(now), "times-faster")
	b.ReportMetric(now.Seconds()/float64(b.N), "s/50000-shots")
}

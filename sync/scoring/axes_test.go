package scoring_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
)

// One certificate of a case with several axes gives one sensitivity: none of the axes
// takes it, each takes the uncertainty, and a score later knows that it was so.
func TestSensitivityOfSeveralAxes(t *testing.T) {
	n := labtest.Open(t)
	rig, cell, in := labtest.ID("rig"), labtest.ID("cell"), labtest.ID("lab")
	at := lab.At(time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
	shot := labtest.ID("shot")
	source, m := put(t, n.Blobs, labtest.CSV(100)), put(t, n.Blobs, []byte(rawMap))
	labtest.Append(t, n.Ledger, in,
		labtest.Draft(t, rig, &lab.Rig{Name: "Rig"}),
		labtest.Draft(t, cell, &lab.Item{Class: lab.ClassSensor, Serial: "TX-1"}),
		labtest.Draft(t, labtest.ID("k"), &lab.Calibration{Item: cell, EffectiveAt: at - 1000, DueAt: at + 1e9, Certificate: "K-1", Sensitivity: new(1.25), SensitivityUnit: "mV/g", ExpandedUncertaintyPercent: new(2.0)}),
		labtest.Draft(t, labtest.ID("m1"), &lab.Mounting{Rig: rig, Position: "ax", Item: cell, EffectiveAt: at - 900}),
		labtest.Draft(t, labtest.ID("m2"), &lab.Mounting{Rig: rig, Position: "not in the map", Item: cell, EffectiveAt: at - 900, Also: true}),
		labtest.Draft(t, shot, labtest.Shot(rig, at.Time(), func(s *lab.Shot) { s.FileName, s.SourceSHA256, s.MapSHA256 = "a.csv", source, m })),
	)
	row, err := n.Reader.Shot(t.Context(), scope.All(), shot)
	if err != nil {
		t.Fatal(err)
	}
	s := scoring.Scorer{Blobs: n.Blobs}
	job := scoring.JobOf(&row)
	plain, err := s.Score(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	holds := func(what string, k []score.Calibration, err error) *lab.Score {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		job.Calibrations = k
		got, err := s.Score(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		peak, mapped := got.Results["peak_linear_acceleration"], plain.Results["peak_linear_acceleration"]
		if share := *peak.ExpandedUncertainty / peak.Value; peak.Value != mapped.Value || math.Abs(share-0.02) > 0.001 {
			t.Errorf("%s: %g ± %g, want %g ± 2 %%", what, peak.Value, *peak.ExpandedUncertainty, mapped.Value)
		}
		if u := got.Calibrations; len(u) != 1 || u[0].TookSensitivity || !u[0].TookUncertainty || !u[0].SeveralAxes {
			t.Errorf("%s: used %+v", what, u)
		}
		said := false
		for _, f := range got.Flags {
			said = said || f.Code == string(score.CalibrationConflict) && strings.Contains(f.Text, "several positions")
		}
		if !said {
			t.Errorf("%s: no flag says it: %+v", what, got.Flags)
		}
		return got
	}
	sensors, err := n.Reader.SensorsOf(t.Context(), scope.All(), shot)
	holds("from the sensors of the shot", scoring.InForceOf(sensors, at), err)
	k, err := scoring.InForce(t.Context(), n.Reader, scope.All(), rig, at)
	got := holds("when it is taken in", k, err)
	labtest.Append(t, n.Ledger, in, labtest.Draft(t, shot, got))
	used, err := scoring.UsedBy(t.Context(), n.Reader, scope.All(), shot)
	holds("for its traces", used, err)
}

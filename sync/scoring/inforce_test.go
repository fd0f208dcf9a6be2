package scoring_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
)

// rawMap binds ax in mV at the map's own sensitivity.
const rawMap = `name = "raw"
[time]
column = "t"
unit = "s"
[processing]
baseline_ms = 2.0
[[channel]]
column = "ax"
measures = "linear acceleration"
axis = "x"
unit = "mV"
sensitivity = 1.0
expanded_uncertainty_percent = 5.0
`

// A sensor that was calibrated twice, and one that took its place: each shot is scored
// with the certificate that was in force when it was fired, in an even record: a
// certificate of s mV/g makes 100 mV to 100/s g. The score says which one it was.
func TestCertificateInForceAtTheShot(t *testing.T) {
	n := labtest.Open(t)
	rig, a, b, lab1 := labtest.ID("rig"), labtest.ID("a"), labtest.ID("b"), labtest.ID("lab")
	day := func(d int) lab.Time { return lab.At(time.Date(2026, 3, 1+d, 12, 0, 0, 0, time.UTC)) }
	calibration := func(name string, item [16]byte, d int, s, percent float64) *lab.Calibration {
		return &lab.Calibration{Item: item, EffectiveAt: day(d), DueAt: day(d + 5), Certificate: name, Sensitivity: &s, SensitivityUnit: "mV/g", ExpandedUncertaintyPercent: &percent}
	}
	labtest.Append(t, n.Ledger, lab1,
		labtest.Draft(t, lab1, &lab.Named{Name: "Lab"}),
		labtest.Draft(t, rig, &lab.Rig{Name: "Rig"}),
		labtest.Draft(t, a, &lab.Item{Class: lab.ClassSensor, Serial: "A"}),
		labtest.Draft(t, b, &lab.Item{Class: lab.ClassSensor, Serial: "B"}),
		labtest.Draft(t, labtest.ID("k1"), calibration("K-1", a, 0, 1.02, 1)),
		labtest.Draft(t, labtest.ID("k2"), calibration("K-2", a, 10, 1.05, 2)),
		labtest.Draft(t, labtest.ID("k3"), calibration("K-3", b, 0, 0.98, 3)),
		labtest.Draft(t, labtest.ID("m1"), &lab.Mounting{Rig: rig, Position: "ax", Item: a, EffectiveAt: day(1)}),
		labtest.Draft(t, labtest.ID("m2"), &lab.Mounting{Rig: rig, Position: "ax", Item: b, EffectiveAt: day(20)}),
	)
	s := scoring.Scorer{Blobs: n.Blobs}
	source, m := put(t, n.Blobs, labtest.CSV(100)), put(t, n.Blobs, []byte(rawMap))
	for _, tc := range []struct {
		day         int
		certificate string
		factor      float64
		percent     float64
	}{{0, "", 1, 5}, {2, "K-1", 1.02, 1}, {8, "K-1", 1.02, 1}, {11, "K-2", 1.05, 2}, {21, "K-3", 0.98, 3}} {
		k, err := scoring.InForce(t.Context(), n.Reader, scope.All(), rig, day(tc.day))
		if err != nil {
			t.Fatal(err)
		}
		got, err := s.Score(t.Context(), scoring.Job{Shot: labtest.ID("s"), FileName: "a.csv", Source: source, Map: m, Calibrations: k})
		if err != nil {
			t.Fatal(err)
		}
		plain, err := s.Score(t.Context(), scoring.Job{Shot: labtest.ID("s"), FileName: "a.csv", Source: source, Map: m})
		if err != nil {
			t.Fatal(err)
		}
		peak, mapped := got.Results["peak_linear_acceleration"], plain.Results["peak_linear_acceleration"]
		if want := mapped.Value / tc.factor; math.Abs(peak.Value-want) > 1e-9*want || want < 90 {
			t.Errorf("day %d: peak %g g, want %g", tc.day, peak.Value, want)
		}
		if share := *peak.ExpandedUncertainty / peak.Value; math.Abs(share-tc.percent/100) > 0.001 {
			t.Errorf("day %d: expanded uncertainty %.4f, want %g %%", tc.day, share, tc.percent)
		}
		if tc.certificate == "" {
			if len(got.Calibrations) != 0 || flagged(got, score.CalibrationConflict) {
				t.Errorf("day %d, before the first mounting: %+v", tc.day, got)
			}
			continue
		}
		if len(got.Calibrations) != 1 || got.Calibrations[0].Certificate != tc.certificate || !got.Calibrations[0].TookSensitivity || !got.Calibrations[0].TookUncertainty ||
			got.Calibrations[0].Calibration != labtest.ID(strings.ToLower(strings.ReplaceAll(tc.certificate, "-", ""))) {
			t.Errorf("day %d: used %+v, want %s", tc.day, got.Calibrations, tc.certificate)
		}
		if !flagged(got, score.CalibrationConflict) {
			t.Errorf("day %d: the map says 1 mV/g, the certificate %g, and no flag says so: %+v", tc.day, tc.factor, got.Flags)
		}
		if kind, _, raw, err := lab.Encode(got); err != nil || kind != lab.KindScore {
			t.Errorf("as a record: %s, %d bytes, %v", kind, len(raw), err)
		}
	}
	if _, err := scoring.InForce(t.Context(), n.Reader, scope.Scope{}, rig, day(2)); err != nil {
		t.Errorf("nothing to see is no error: %v", err)
	}
}

func flagged(s *lab.Score, code score.FlagCode) bool {
	for _, f := range s.Flags {
		if f.Code == string(code) {
			return true
		}
	}
	return false
}

// What view lists for a stored shot gives the same calibrations as rig and time.
func TestInForceOfAStoredShot(t *testing.T) {
	n := labtest.Open(t)
	f := labtest.FillLab(t, n.Ledger, 3, labtest.Options{Blobs: n.Blobs})
	sensors, err := n.Reader.SensorsOf(t.Context(), scope.All(), f.Shots[0])
	if err != nil {
		t.Fatal(err)
	}
	row, err := n.Reader.Shot(t.Context(), scope.All(), f.Shots[0])
	if err != nil {
		t.Fatal(err)
	}
	byTime, err := scoring.InForce(t.Context(), n.Reader, scope.All(), row.Shot.Rig, row.Shot.EffectiveAt)
	if err != nil {
		t.Fatal(err)
	}
	if got := scoring.InForceOf(sensors, row.Shot.EffectiveAt); len(got) != 2 || fmt.Sprint(got) != fmt.Sprint(byTime) {
		t.Errorf("%+v by the shot, %+v by rig and time; want the same two: the other sensors were calibrated later", got, byTime)
	}
}

// The curves of a shot are drawn with the certificates that its score names, also
// when a later certificate has been entered for the same day.
func TestUsedByNamesWhatTheScoreTook(t *testing.T) {
	n := labtest.Open(t)
	f := labtest.FillLab(t, n.Ledger, 3, labtest.Options{Blobs: n.Blobs})
	shot := f.Shots[0]
	if got, err := scoring.UsedBy(t.Context(), n.Reader, scope.All(), labtest.ID("no such shot")); err == nil {
		t.Errorf("a shot that is not there: %+v", got)
	}
	sensors, err := n.Reader.SensorsOf(t.Context(), scope.All(), shot)
	if err != nil {
		t.Fatal(err)
	}
	row, err := n.Reader.Shot(t.Context(), scope.All(), shot)
	if err != nil {
		t.Fatal(err)
	}
	want := scoring.InForceOf(sensors, row.Shot.EffectiveAt)[:1]
	id, err := uuid.Parse(want[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	labtest.Append(t, n.Ledger, row.Lab, labtest.Draft(t, labtest.ID("rescored"), &lab.Score{Shot: shot, Engine: score.EngineVersion,
		Calibrations: []lab.UsedCalibration{{Calibration: id, Position: want[0].Position, Certificate: want[0].Certificate}}}))
	got, err := scoring.UsedBy(t.Context(), n.Reader, scope.All(), shot)
	if err != nil || fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("%+v, %v, want %+v", got, err, want)
	}
	if got, err := scoring.UsedBy(t.Context(), n.Reader, scope.Labs(labtest.ID("another")), shot); err == nil {
		t.Errorf("another lab's rights: %+v", got)
	}
}

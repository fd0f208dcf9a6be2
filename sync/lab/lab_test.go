package lab_test

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

func valid() []lab.Body {
	id, at := labtest.ID("x"), lab.At(labtest.Start())
	fault := lab.Fault{Code: "empty_file", What: "the file is empty", Line: 1, Fix: "export again"}
	return []lab.Body{
		labtest.Shot(id, labtest.Start(), func(s *lab.Shot) {
			s.Extra, s.MetaTyped, s.TriggerMonotonicNS = map[string]string{"lot": "L7"}, []string{"specimen", "kind"}, new(int64(-5))
		}),
		labtest.Score(id, 5.5, func(s *lab.Score) { s.Error, s.Faults = &fault, []lab.Fault{fault} }),
		&lab.Void{Shot: id, Reason: "strap"},
		&lab.Sighting{Shot: id, Rig: id, FileName: "a.csv", FileTime: at, Size: 3, EffectiveAt: at},
		&lab.SightingSettled{Sighting: id, CountStroke: true},
		&lab.Quarantine{Rig: id, FileName: "b.csv", Size: 0, SourceSHA256: labtest.Hash(1), Error: fault},
		&lab.QuarantineSettled{Quarantine: id, Shot: id, Reason: "mended"},
		&lab.Rig{Name: "Rig 1"},
		&lab.Item{Class: lab.ClassRam, Serial: "R", ServiceEveryStrokes: 500, OpeningStrokes: 3},
		&lab.Mounting{Rig: id, Position: "ram", EffectiveAt: at},
		&lab.Service{Item: id, EffectiveAt: at, Note: "seals", Parts: []string{"seal set"}, DurationMinutes: new(45.0), DoneBy: "workshop"},
		&lab.Photo{Shot: id, Inspection: id, SHA256: labtest.Hash(2), EffectiveAt: at, CameraTime: "2026-03-02T10:00:00+01:00", Note: "left weld"},
		&lab.Inspection{Shot: id, Specimen: "H-01", Campaign: id, EffectiveAt: at, FaceContact: lab.ContactNo, Proposed: lab.VerdictPassed, Verdict: lab.VerdictFailed,
			Reason: "weld looks thin", Corrects: []uuid.UUID{id}, Findings: []lab.Finding{{Element: lab.ElementBar, Grade: lab.GradeMarked, DeformationMM: new(1.5), Note: "front"}}},
		&lab.Note{Topic: lab.NotePart, EffectiveAt: at, Text: "end cap changed", Rig: id, Item: id, Shot: id, Parts: []string{"end cap"}, Corrects: []uuid.UUID{id}},
		&lab.Calibration{Item: id, EffectiveAt: at, DueAt: at, Certificate: "C", Sensitivity: new(-1.2), SensitivityUnit: "mV/g", ExpandedUncertaintyPercent: new(1.0)},
		&lab.Document{Item: id, Calibration: id, SHA256: labtest.Hash(2), EffectiveAt: at, Title: "certificate"},
		&lab.Withdrawn{Doc: id, DocKind: lab.KindItem, Reason: "twice"},
		&lab.Campaign{Name: "C", Owner: "Dev", Specimens: []string{"H-1"}, Cells: []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 1}}, AcceptanceLimits: []lab.Limit{{Result: "hic15", Most: 700}},
			InspectionLimits: []lab.InspectionLimit{{Element: lab.ElementBar, Worst: lab.GradeMarked, MostMM: new(3.0), Source: "own plan"}}, FaceContactFails: true},
		&lab.Named{Name: "Lab"},
		&lab.WentOn{Rig: id, What: []string{"ram: service overdue"}, Reason: "seals are on their way", EffectiveAt: at, Until: at + 1},
		&lab.ItemState{Item: id, State: lab.StateQuarantined, Location: "shelf", EffectiveAt: at, Reason: "dropped"},
		&lab.Correction{Item: id, Strokes: -3, EffectiveAt: at, Reason: "counted twice"},
		&lab.Person{CardSHA256: record.Hash{1}},
		&lab.PersonErased{Person: id, Reason: "asked for it"},
		&lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "specimen", Value: []byte{0x61, 'x'}, Base: []lab.EditRef{{Node: id, Epoch: 1, Seq: 2}}},
	}
}

// Every fact comes out of its record as it went in, and its bytes are the same
// each time.
func TestBodiesSurviveTheRecord(t *testing.T) {
	kinds := map[record.Kind]bool{}
	for _, b := range valid() {
		kind, schema, raw, err := lab.Encode(b)
		if err != nil {
			t.Errorf("%s: %v", b.RecordKind(), err)
			continue
		}
		if kinds[kind] || schema != b.SchemaVersion() {
			t.Errorf("%s: schema %d, or the kind twice", kind, schema)
		}
		kinds[kind] = true
		back := reflect.New(reflect.TypeOf(b).Elem()).Interface()
		if err := record.DecodeBody(raw, back); err != nil {
			t.Errorf("%s: %v", kind, err)
		}
		if d := cmp.Diff(b, back); d != "" {
			t.Errorf("%s: %s", kind, d)
		}
		if _, _, again, err := lab.Encode(back.(lab.Body)); err != nil || !slices.Equal(raw, again) {
			t.Errorf("%s: encoded again it differs, %v", kind, err)
		}
	}
	if len(kinds) != 25 {
		t.Errorf("%d kinds are tested, there are 25", len(kinds))
	}
}

// A body written by a newer program, with a field more, is still read.
func TestNewerFieldsAreTolerated(t *testing.T) {
	raw, err := record.EncodeBody(map[string]any{"name": "Rig 1", "hall": "north"})
	if err != nil {
		t.Fatal(err)
	}
	var r lab.Rig
	if err := record.DecodeBody(raw, &r); err != nil || r.Name != "Rig 1" {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestZeroBodiesAreRefusedWithAllFaults(t *testing.T) {
	most := map[record.Kind]int{lab.KindShot: 6, lab.KindCalibration: 4, lab.KindSighting: 4, lab.KindMounting: 3}
	for _, b := range valid() {
		zero := reflect.New(reflect.TypeOf(b).Elem()).Interface().(lab.Body)
		err := zero.Validate()
		if err == nil {
			t.Errorf("an empty %s is taken", b.RecordKind())
			continue
		}
		if problem.Of(err) != problem.Invalid {
			t.Errorf("%s: code %s", b.RecordKind(), problem.Of(err))
		}
		if n := most[b.RecordKind()]; n > 0 && len(split(err)) != n {
			t.Errorf("%s: %d faults at once, want %d:\n%v", b.RecordKind(), len(split(err)), n, err)
		}
		for _, e := range split(err) {
			if p, ok := problem.As(e); !ok || p.What == "" || p.Fix == "" || p.Where == "" {
				t.Errorf("%s: fault without words, place or fix: %v", b.RecordKind(), e)
			}
		}
	}
}

func split(err error) []error {
	if j, ok := err.(interface{ Unwrap() []error }); ok {
		var out []error
		for _, e := range j.Unwrap() {
			out = append(out, split(e)...)
		}
		return out
	}
	return []error{err}
}

func TestRefused(t *testing.T) {
	id, at := labtest.ID("x"), lab.At(labtest.Start())
	long := strings.Repeat("x", lab.MaxText+1)
	cases := map[string]lab.Body{
		"due before it was made":           &lab.Calibration{Item: id, EffectiveAt: at, DueAt: at - 1, Certificate: "C"},
		"the sensitivity has no unit":      &lab.Calibration{Item: id, EffectiveAt: at, DueAt: at, Certificate: "C", Sensitivity: new(1.0)},
		"the sensitivity is zero":          &lab.Calibration{Item: id, EffectiveAt: at, DueAt: at, Certificate: "C", Sensitivity: new(0.0), SensitivityUnit: "mV/g"},
		"outside 0 to 100":                 labtest.Shot(id, labtest.Start(), func(s *lab.Shot) { s.TargetSpeedMS = new(-1.0) }),
		"NaN is outside":                   labtest.Shot(id, labtest.Start(), func(s *lab.Shot) { s.SpeedMS = new(math.NaN()) }),
		"is not one of":                    labtest.Shot(id, labtest.Start(), func(s *lab.Shot) { s.Kind = "wet" }),
		"the most is 200":                  labtest.Shot(id, labtest.Start(), func(s *lab.Shot) { s.Specimen = long }),
		"not UTF-8":                        labtest.Shot(id, labtest.Start(), func(s *lab.Shot) { s.Specimen = "\xff" }),
		"there is no field colour":         labtest.Shot(id, labtest.Start(), func(s *lab.Shot) { s.MetaTyped = []string{"colour"} }),
		"the year 1601":                    &lab.Service{Item: id, EffectiveAt: lab.At(time.Date(1601, 1, 1, 0, 0, 0, 0, time.UTC))},
		"not a finite number":              labtest.Score(id, 5, func(s *lab.Score) { s.Results["x"] = lab.Result{Value: math.Inf(1)} }),
		"101 flags":                        labtest.Score(id, 5, func(s *lab.Score) { s.Flags = make([]lab.Flag, 101) }),
		"the count -1 is negative":         &lab.Item{Class: "ram", Serial: "R", OpeningStrokes: -1},
		"stand there twice":                &lab.Campaign{Name: "C", Cells: []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 1}, {Location: "Front ", TargetSpeedMS: 5.5000001, Planned: 1}}},
		`specimen "h-1" stands there`:      &lab.Campaign{Name: "C", Specimens: []string{"H-1", "h-1"}},
		"the element stands there twice":   &lab.Inspection{Specimen: "H", EffectiveAt: at, Verdict: lab.VerdictPassed, Reason: "r", Findings: []lab.Finding{{Element: lab.ElementBar}, {Element: lab.ElementBar}}},
		"of no shot and no specimen":       &lab.Photo{SHA256: labtest.Hash(1), EffectiveAt: at},
		"of both":                          &lab.Photo{Shot: id, Specimen: "H", SHA256: labtest.Hash(1), EffectiveAt: at},
		"do not lead to this verdict":      &lab.Inspection{Specimen: "H", EffectiveAt: at, Proposed: lab.VerdictPassed, Verdict: lab.VerdictFailed},
		"no criteria led to this verdict":  &lab.Inspection{Specimen: "H", EffectiveAt: at, Verdict: lab.VerdictFailed},
		"it limits nothing":                &lab.Campaign{Name: "C", InspectionLimits: []lab.InspectionLimit{{Element: lab.ElementBar}}},
		"keep one criterion an element":    &lab.Campaign{Name: "C", InspectionLimits: []lab.InspectionLimit{{Element: lab.ElementBar, Worst: lab.GradeSound}, {Element: lab.ElementBar, Worst: lab.GradeSound}}},
		"0 planned shots":                  &lab.Campaign{Name: "C", Cells: []lab.Cell{{Location: "front", TargetSpeedMS: 5.5}}},
		"no fields that can be edited":     &lab.FieldEdit{Doc: id, DocKind: lab.KindService, Field: "note", Value: []byte{0xf6}},
		"does not fit specimen":            &lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "specimen", Value: []byte{0x01}},
		"does not fit source_sha256":       &lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "source_sha256", Value: []byte{0xf6}},
		"does not fit colour":              &lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "colour", Value: []byte{0xf6}},
		"does not fit target_speed_m_s":    &lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "target_speed_m_s", Value: []byte{0x61, 'x'}},
		"does not fit location of a shot":  &lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "location", Value: []byte{0x62, 'x'}}, // cut short
		"does not fit extra.lot of a shot": &lab.FieldEdit{Doc: id, DocKind: lab.KindShot, Field: "extra.lot", Value: []byte{0x01}},
	}
	for want, b := range cases {
		err := b.Validate()
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q in it", b.RecordKind(), err, want)
		}
		if _, _, _, err := lab.Encode(b); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: Encode gives %v", b.RecordKind(), err)
		}
	}
}

func TestTooLargeForARecord(t *testing.T) {
	c := &lab.Campaign{Name: "C"}
	for i := range lab.MaxSpecimens {
		c.Specimens = append(c.Specimens, strings.Repeat("s", 150)+string(rune('a'+i%26))+uuid.NewString())
	}
	if _, _, _, err := lab.Encode(c); problem.Of(err) != problem.TooLarge {
		t.Errorf("Encode = %v, want a problem with code too_large", err)
	}
}

func TestParseMeta(t *testing.T) {
	m, kind, err := lab.ParseMeta([]byte(`{"specimen":"H-12","target_speed_m_s":5.5,"fired_at":"2026-05-04T15:20:00.25+02:00",
		"kind":"dry","operator":null,"lot":"L 7","n":3,"nested":{"a":1},"nothing":null}`))
	if err != nil {
		t.Fatal(err)
	}
	want := lab.Meta{
		Specimen: "H-12", TargetSpeedMS: new(5.5), FiredAt: lab.At(time.Date(2026, 5, 4, 13, 20, 0, 250e6, time.UTC)),
		Extra: map[string]string{"lot": "L 7", "n": "3", "nested": `{"a":1}`},
	}
	if d := cmp.Diff(want, m); d != "" || kind != lab.ShotDry {
		t.Errorf("kind %q %s", kind, d)
	}
	for text, want := range map[string]string{
		``: "no JSON object", `[]`: "no JSON object", `{"specimen":`: "no JSON object",
		`{"target_speed_m_s":"fast"}`: "target_speed_m_s has an unusable value", `{"fired_at":"yesterday"}`: "fired_at has an unusable value",
		`{"fired_at":"2026-05-04T15:20:00"}`: "fired_at has an unusable value", // no zone
		`{"kind":"wet"}`:                     "is not one of", `{"kind":3}`: "kind is no text", `{"target_speed_m_s":550}`: "outside 0 to 100",
	} {
		if _, _, err := lab.ParseMeta([]byte(text)); err == nil || !strings.Contains(err.Error(), want) || problem.Of(err) != problem.Invalid {
			t.Errorf("%s: %v, want %q in it", text, err, want)
		}
	}
}

func FuzzParseMeta(f *testing.F) {
	f.Add([]byte(`{"specimen":"H-12","extra":{"a":"b"},"fired_at":"2026-05-04T15:20:00Z"}`))
	f.Add([]byte(`{"extra":3}`))
	f.Add([]byte(`{"Specimen":"x","specimen":"y","EXTRA":{}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		m, _, err := lab.ParseMeta(text)
		if err != nil {
			if problem.Of(err) != problem.Invalid {
				t.Errorf("code %s: %v", problem.Of(err), err)
			}
			return
		}
		out, err := json.Marshal(&m)
		if err != nil {
			t.Fatal(err)
		}
		again, _, err := lab.ParseMeta(out)
		if err != nil {
			t.Fatalf("its own JSON is refused: %v", err)
		}
		if d := cmp.Diff(m, again); d != "" {
			t.Error(d)
		}
	})
}

func TestTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := lab.Time(rapid.Int64Range(-6e13, 2e14).Draw(t, "ms"))
		if a != 0 && lab.At(a.Time()) != a {
			t.Fatalf("%d comes back as %d", a, lab.At(a.Time()))
		}
		if d := a.Day(); lab.DayStart(d) > a || lab.DayStart(d+1) <= a {
			t.Fatalf("%v is not in day %d", a, d)
		}
		if want := a.Time().Truncate(24 * time.Hour); a > 0 && !lab.DayStart(a.Day()).Time().Equal(want) && a.Day() != 0 {
			t.Fatalf("day of %v starts %v, want %v", a, lab.DayStart(a.Day()), want)
		}
		raw, err := json.Marshal(a)
		var back lab.Time
		if err = errors.Join(err, json.Unmarshal(raw, &back)); err != nil || back != a {
			t.Fatalf("%s: %v, %v", raw, back, err)
		}
	})
}

func TestFoldAndSpeed(t *testing.T) {
	for in, want := range map[string]string{" Front  Left\t": "front left", "": "", "  ": "", "H-01": "h-01"} {
		if got := lab.Fold(in); got != want {
			t.Errorf("Fold(%q) = %q, want %q", in, got, want)
		}
	}
	for in, want := range map[float64]uint32{5.5: 5500, 5.4999999: 5500, 0: 0, -1: math.MaxUint32, math.Inf(1): math.MaxUint32} {
		if got := lab.MillimetresPerSecond(in); got != want {
			t.Errorf("%g m/s = %d mm/s, want %d", in, got, want)
		}
	}
	if got := lab.MillimetresPerSecond(math.NaN()); got != math.MaxUint32 {
		t.Errorf("NaN = %d", got)
	}
}

func TestOverlay(t *testing.T) {
	enc := func(v any) []byte {
		raw, err := record.EncodeBody(v)
		if err != nil {
			t.Fatal(err)
		}
		return raw
	}
	s := labtest.Shot(labtest.ID("rig"), labtest.Start(), func(s *lab.Shot) { s.Extra = map[string]string{"lot": "1", "x": "y"} })
	out, bad, err := lab.Overlay(*s, map[string][]byte{
		"specimen": enc("H-9"), "operator": enc(nil), "target_speed_m_s": enc(7), "extra.lot": enc("2"), "extra.x": enc(nil),
		"kind": enc(lab.ShotDry), "location": enc(3), "file_name": enc("other.csv"), "unknown": enc(1),
	})
	if err != nil {
		t.Fatal(err)
	}
	want := *s
	want.Specimen, want.Operator, want.TargetSpeedMS, want.Kind, want.Extra = "H-9", "", new(7.0), lab.ShotDry, map[string]string{"lot": "2"}
	if d := cmp.Diff(want, out); d != "" {
		t.Error(d)
	}
	if !slices.Equal(bad, []string{"file_name", "location", "unknown"}) {
		t.Errorf("unusable: %v", bad)
	}
	if s.Extra["lot"] != "1" || s.Specimen != "H-01" {
		t.Error("the document itself was changed")
	}
}

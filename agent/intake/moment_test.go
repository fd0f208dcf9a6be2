package intake_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/agent/intake"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// submit takes a text in without a watched folder.
func (w *world) submit(name, text, meta string, mod time.Time) (intake.Outcome, view.ShotRow) {
	w.t.Helper()
	ref, err := w.in.Put(w.t.Context(), strings.NewReader(text), int64(len(text)))
	w.must(err)
	s := intake.Submission{Name: name, Ref: ref, ModTime: mod, Meta: []byte(meta)}
	if s.Map, err = w.in.MapForPosts(); err != nil {
		w.t.Fatal(err)
	}
	out, err := w.in.Submit(w.t.Context(), s)
	w.must(err)
	row, err := w.reader().Shot(w.t.Context(), scope.All(), out.ID)
	w.must(err)
	return out, row
}

func (w *world) flagTexts(out intake.Outcome, code string) (texts []string) {
	for _, f := range out.Score.Flags {
		if f.Code == code {
			texts = append(texts, f.Text)
		}
	}
	return texts
}

// clocked is a world whose clock shows now, in the intake and in the ledger.
func clocked(t *testing.T, now *time.Time) *world {
	t.Helper()
	at := func() time.Time { return *now }
	return newWorld(t, ledgertest.Options{Now: at}, func(o *intake.Options) { o.Now = at })
}

func TestTimesThatNoShotCanHave(t *testing.T) {
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	w := clocked(t, &now)
	day := func(y int, mo time.Month, d int) time.Time { return time.Date(y, mo, d, 8, 0, 0, 0, time.UTC) }
	yesterday := day(2026, 5, 3)
	for i, tc := range []struct {
		name    string
		fired   string // of the meta
		mod     time.Time
		want    time.Time
		from    string
		flags   []string
		noFlags []string
	}{
		{"all is well", "2026-05-03T09:00:00Z", yesterday, time.Date(2026, 5, 3, 9, 0, 0, 0, time.UTC), lab.FromMeta, nil, []string{lab.FlagFiredAt, lab.FlagFileTime, lab.FlagClock}},
		{"clocks that differ by nine minutes", "2026-05-04T12:09:00Z", now.Add(9 * time.Minute), now.Add(9 * time.Minute), lab.FromMeta, nil, []string{lab.FlagFiredAt, lab.FlagFileTime, lab.FlagClock}},
		{"fired in the future", "2026-05-04T12:11:00Z", yesterday, yesterday, lab.FromFileTime, []string{lab.FlagFiredAt}, []string{lab.FlagFileTime, lab.FlagClock}},
		{"fired far in the future, no file time", "2099-01-01T00:00:00Z", time.Time{}, now, lab.FromReceived, []string{lab.FlagFiredAt}, []string{lab.FlagFileTime}},
		{"a flat battery", "1970-01-02T03:04:05Z", yesterday, yesterday, lab.FromFileTime, []string{lab.FlagFiredAt}, []string{lab.FlagFileTime}},
		{"file from the future", "", day(2031, 1, 1), now, lab.FromReceived, []string{lab.FlagFileTime}, []string{lab.FlagFiredAt}},
		{"file before 2000", "", day(1980, 1, 1), now, lab.FromReceived, []string{lab.FlagFileTime}, nil},
		{"both wrong", "1999-12-31T23:59:59Z", day(2027, 1, 1), now, lab.FromReceived, []string{lab.FlagFiredAt, lab.FlagFileTime}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			meta := `{"specimen":"H-1"}`
			if tc.fired != "" {
				meta = `{"specimen":"H-1","fired_at":"` + tc.fired + `"}`
			}
			out, r := w.submit("a.csv", csv(20+float64(i)), meta, tc.mod)
			if !r.Shot.EffectiveAt.Time().Equal(tc.want) || r.Shot.EffectiveFrom != tc.from {
				t.Errorf("effective %s from %s, want %s from %s", r.Shot.EffectiveAt, r.Shot.EffectiveFrom, tc.want, tc.from)
			}
			for _, code := range tc.flags {
				if len(w.flagTexts(out, code)) != 1 {
					t.Errorf("flags %+v, want %s once", out.Score.Flags, code)
				}
			}
			for _, code := range tc.noFlags {
				if len(w.flagTexts(out, code)) != 0 {
					t.Errorf("flags %+v, want no %s", out.Score.Flags, code)
				}
			}
			// What was given stays in the record as evidence.
			if !r.Shot.FileTime.Time().Equal(tc.mod) || tc.fired != "" && r.Shot.FiredAt.Time().Format(time.RFC3339) != tc.fired {
				t.Errorf("file time %s, fired at %s", r.Shot.FileTime, r.Shot.FiredAt)
			}
		})
	}
	// The list by arrival ends with the shot that came last, whatever the times say.
	list, err := w.reader().Shots(t.Context(), scope.All(), view.ShotFilter{Arrival: true, Oldest: true}, view.Page{Limit: 3})
	w.must(err)
	rest, err := w.reader().Shots(t.Context(), scope.All(), view.ShotFilter{Arrival: true, Oldest: true}, view.Page{After: list.Next})
	w.must(err)
	rows := append(slices.Clone(list.Rows), rest.Rows...)
	last, err := w.reader().Shots(t.Context(), scope.All(), view.ShotFilter{Arrival: true}, view.Page{Limit: 1})
	w.must(err)
	if len(rows) != 8 || rows[0].Shot.FiredAt.String() != "2026-05-03T09:00:00.000Z" || rows[7].Shot.FiredAt.String() != "1999-12-31T23:59:59.000Z" || last.Rows[0].ID != rows[7].ID {
		t.Errorf("by arrival: %d rows, %+v", len(rows), rows)
	}
}

// The zero of clocks cannot be told from "not recorded" in a record: it becomes
// a flag, and the meta is kept as it came.
func TestFiredAtTheZeroOfClocks(t *testing.T) {
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	w := clocked(t, &now)
	meta := `{"specimen":"H-1","fired_at":"1970-01-01T00:00:00Z"}`
	out, r := w.submit("a.csv", csv(20), meta, now.Add(-time.Hour))
	if texts := w.flagTexts(out, lab.FlagMetaField); len(texts) != 1 || !strings.Contains(texts[0], "fired_at") || !strings.Contains(texts[0], "1970-01-01T00:00:00Z") {
		t.Errorf("flags %+v", out.Score.Flags)
	}
	if a, ok := r.Attachment(intake.RoleMeta); !ok || string(w.stored(a.SHA256)) != meta || r.Shot.Specimen != "H-1" || r.Shot.EffectiveFrom != lab.FromFileTime {
		t.Errorf("shot = %+v", r.Shot)
	}
}

func TestRecordingGoesOnUnderAWrongClock(t *testing.T) {
	for _, start := range []time.Time{time.Unix(0, 0), time.Unix(40, 0), time.Date(1999, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC)} {
		t.Run(start.UTC().Format(time.RFC3339), func(t *testing.T) {
			now := start
			w := clocked(t, &now)
			fired := time.Date(2026, 5, 4, 13, 20, 0, 0, time.UTC)
			out, r := w.submit("a.csv", csv(20), `{"fired_at":"2026-05-04T13:20:00Z"}`, now)
			if !r.Shot.EffectiveAt.Time().Equal(fired) || r.Shot.EffectiveFrom != lab.FromMeta || len(w.flagTexts(out, lab.FlagClock)) != 1 {
				t.Errorf("effective %s from %s, flags %+v", r.Shot.EffectiveAt, r.Shot.EffectiveFrom, out.Score.Flags)
			}
			out, r = w.submit("b.csv", csv(21), "", now)
			if r.Shot.EffectiveFrom != lab.FromReceived || r.Shot.EffectiveAt.IsZero() || len(w.flagTexts(out, lab.FlagClock)) != 1 {
				t.Errorf("effective %s from %s, flags %+v", r.Shot.EffectiveAt, r.Shot.EffectiveFrom, out.Score.Flags)
			}
			// The clock is set right: recording goes on, and the newest arrival is last.
			now = time.Date(2026, 5, 4, 14, 0, 0, 0, time.UTC)
			out, r = w.submit("c.csv", csv(22), "", now.Add(-time.Minute))
			if r.Shot.EffectiveFrom != lab.FromFileTime || len(w.flagTexts(out, lab.FlagClock)) != 0 {
				t.Errorf("effective from %s, flags %+v", r.Shot.EffectiveFrom, out.Score.Flags)
			}
			last, err := w.reader().Shots(t.Context(), scope.All(), view.ShotFilter{Arrival: true}, view.Page{Limit: 1})
			w.must(err)
			if last.Rows[0].ID != out.ID {
				t.Errorf("last shot is %s, want the one that came last", last.Rows[0].Shot.FileName)
			}
		})
	}
}

func TestTypedTimeThatCannotBe(t *testing.T) {
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.FixedZone("", -5*3600)) // times are answered as they are typed
	w := clocked(t, &now)
	out, before := w.submit("a.csv", csv(20), "", now.Add(-time.Hour))
	for _, at := range []time.Time{now.Add(11 * time.Minute), time.Date(1970, 3, 1, 0, 0, 0, 0, now.Location())} {
		_, err := w.in.Assign(t.Context(), intake.Assignment{Shot: out.ID, Meta: lab.Meta{FiredAt: lab.At(at)}})
		if problem.Of(err) != problem.Invalid || !strings.Contains(err.Error(), at.Format(time.RFC3339)) {
			t.Errorf("typed %s: %v", at, err)
		}
	}
	// From a late meta file it is kept as evidence and dates nothing.
	n, err := w.in.Assign(t.Context(), intake.Assignment{Shot: out.ID, Meta: lab.Meta{FiredAt: lab.At(now.AddDate(1, 0, 0))}, OnlyMissing: true, Author: lab.AuthorMeta})
	w.must(err)
	after := w.shots()["a.csv"]
	if n != 1 || after.Shot.EffectiveAt != before.Shot.EffectiveAt || after.Shot.FiredAt.IsZero() {
		t.Errorf("%d edits; effective %s, fired at %s", n, after.Shot.EffectiveAt, after.Shot.FiredAt)
	}
}

func TestOneBadFieldOfTheMeta(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	meta := `{"specimen":"H-12","target_speed_m_s":"fast","azimuth_deg":4000,"location":"front","kind":"wet","operator":"k.t.","lot":7,"neck_torqued_at":"soon"}`
	out, r := w.submit("a.csv", csv(30), meta, time.Time{})
	s := r.Shot
	if s.Specimen != "H-12" || s.Location != "front" || s.Operator != "k.t." || s.Extra["lot"] != "7" || s.TargetSpeedMS != nil || s.AzimuthDeg != nil || s.Kind != lab.ShotHit {
		t.Errorf("shot = %+v", s)
	}
	texts := w.flagTexts(out, lab.FlagMetaField)
	for _, want := range [][]string{
		{"target_speed_m_s", `"fast"`, "number"}, {"azimuth_deg", "4000", "unit"}, {"kind", "wet", "dry"}, {"neck_torqued_at", `"soon"`, "2026-05-04T13:20:00Z"},
	} {
		if !slices.ContainsFunc(texts, func(text string) bool {
			return !slices.ContainsFunc(want, func(part string) bool { return !strings.Contains(text, part) })
		}) {
			t.Errorf("no flag names %q: %q", want, texts)
		}
	}
	if len(texts) != 4 || len(w.flagTexts(out, lab.FlagMetaUnreadable)) != 0 {
		t.Errorf("flags = %+v", out.Score.Flags)
	}
	if a, ok := r.Attachment(intake.RoleMeta); !ok || string(w.stored(a.SHA256)) != meta {
		t.Error("the meta is not kept as it came")
	}
}

// A sensor with a certificate of 1.05 mV/g and a map of 1 mV/g: each shot is
// scored with what was in force when it was fired, and its score says so.
func TestShotsAreScoredWithCertificatesInForce(t *testing.T) {
	now := time.Date(2026, 5, 20, 12, 0, 0, 0, time.UTC)
	w := clocked(t, &now)
	w.write("map.toml", strings.Replace(mapText, "axis = \"x\"\nunit = \"g\"", "axis = \"x\"\nunit = \"mV\"\nsensitivity = 1.0", 1))
	day := func(d int) lab.Time { return lab.At(time.Date(2026, 5, d, 9, 0, 0, 0, time.UTC)) }
	item, sensitivity := uuid.New(), 1.05
	for uid, b := range map[uuid.UUID]lab.Body{
		w.rig:      &lab.Rig{Name: "rig nine"},
		item:       &lab.Item{Class: lab.ClassSensor, Serial: "S-1"},
		uuid.New(): &lab.Mounting{Rig: w.rig, Position: "ax", Item: item, EffectiveAt: day(1)},
		labtest.ID("certificate"): &lab.Calibration{Item: item, EffectiveAt: day(10), DueAt: day(28), Certificate: "K-7",
			Sensitivity: &sensitivity, SensitivityUnit: "mV/g"},
	} {
		_, err := w.l.Append(t.Context(), w.lab, []ledger.Draft{labtest.Draft(t, uid, b)}...)
		w.must(err)
	}
	for i, tc := range []struct {
		day         string
		factor      float64
		certificate string
	}{{"05", 1, ""}, {"15", 1.05, "K-7"}} {
		out, _ := w.submit("a.csv", csv(100+float64(i)), `{"fired_at":"2026-05-`+tc.day+`T10:00:00Z"}`, time.Time{})
		// csv gives ax the peak and ay a tenth of it, in g.
		x := (100 + float64(i)) / tc.factor
		want := math.Hypot(x, (100+float64(i))/10)
		if got := out.Score.Results["peak_linear_acceleration"].Value; math.Abs(got-want) > want/100 {
			t.Errorf("day %s: peak %g g, want %g within 1 %%", tc.day, got, want)
		}
		stored := w.score(out.ID).Score.Calibrations
		if tc.certificate == "" && len(stored) != 0 {
			t.Errorf("day %s: %+v", tc.day, stored)
		}
		if tc.certificate != "" && (len(stored) != 1 || stored[0].Certificate != tc.certificate || !stored[0].TookSensitivity || stored[0].Calibration != labtest.ID("certificate")) {
			t.Errorf("day %s: %+v, want %s", tc.day, stored, tc.certificate)
		}
	}
}

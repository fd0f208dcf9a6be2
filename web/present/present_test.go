package present_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/ram"
	"thudbook/metrics/signal"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
	"thudbook/sync/speed"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// shot writes a shot and its score into real views and reads them back.
func shot(t *testing.T, change func(*lab.Shot), score func(*lab.Score)) (view.ShotRow, []view.ScoreRow) {
	t.Helper()
	n, id, in := labtest.Open(t), labtest.ID("shot"), labtest.ID("lab")
	s := labtest.Shot(labtest.ID("rig"), labtest.Start(), change)
	labtest.Append(t, n.Ledger, in, labtest.Draft(t, id, s))
	if score != nil {
		labtest.Append(t, n.Ledger, in, labtest.Draft(t, id, labtest.Score(id, 5.432, score)))
	}
	row, err := n.Reader.Shot(t.Context(), scope.All(), id)
	if err != nil {
		t.Fatal(err)
	}
	scores, err := n.Reader.Scores(t.Context(), scope.All(), id)
	if err != nil {
		t.Fatal(err)
	}
	return row, scores
}

func TestShotRow(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("", 3600)
	row, _ := shot(t, func(*lab.Shot) {}, func(b *lab.Score) {
		b.Results = map[string]lab.Result{"peak_linear_acceleration": {Value: 98.14, Unit: "g"}, "severity_index": {Value: 512.4}, "impact_speed": {Value: 5.432, Unit: "m/s"}}
		b.Flags = []lab.Flag{{Code: "noise_floor", Text: "x"}, {Code: "uncertainty_unknown", Text: "x"}, {Code: "baseline_in_impact", Text: "x"}, {Code: "unit_conflict", Channel: "wy", Text: "x"}, {Code: "saturated", Channel: "ax", Text: "x"}}
	})
	p := present.ShotRow(&row, zone)
	if p.PeakG.Text != "98.1" || p.PeakG.Unit != "g" || p.SI.Text != "512" || p.Speed.Text != "5.43" || p.Target.Text != "5.50" {
		t.Errorf("figures: %+v", p)
	}
	if p.HIC15.Text != "" || p.HIC15.Missing != "not in the file" {
		t.Errorf("a missing result: %+v", p.HIC15)
	}
	if p.Waiting || p.Kind != "shot" || p.At.Format("15:04 -0700") != "09:00 +0100" {
		t.Errorf("waiting %t, kind %q, at %s", p.Waiting, p.Kind, p.At)
	}
	var codes []string
	for _, f := range p.Flags {
		codes = append(codes, f.Code)
	}
	if !slices.Equal(codes, []string{"baseline_in_impact", "unit_conflict", "saturated", "noise_floor"}) || p.Flags[2].Level != page.Bad || p.Flags[3].Level != page.Warn || p.Flags[3].Text != "noise floor" {
		t.Errorf("flags: %+v, want the gravest first and no remarks", p.Flags)
	}
}

func TestWaitingShot(t *testing.T) {
	t.Parallel()
	row, scores := shot(t, func(s *lab.Shot) { s.Meta = lab.Meta{Location: "front"} }, nil)
	if got := present.Lacking(&row); !slices.Equal(got, []string{"specimen", "target speed"}) {
		t.Errorf("it lacks %q", got)
	}
	p := present.Shot(&row, scores, time.UTC, "kPa")
	if p.State.Word != "to assign" || p.State.Level != page.Warn || len(p.Results) != 0 {
		t.Errorf("state %+v, %d results", p.State, len(p.Results))
	}
	if r := present.ShotRow(&row, time.UTC); r.PeakG.Missing != "not scored yet" || !r.Waiting {
		t.Errorf("row: %+v", r)
	}
	row, _ = shot(t, func(s *lab.Shot) { s.Meta, s.Kind = lab.Meta{}, lab.ShotDry }, nil)
	if present.Waiting(&row) || present.Kind(row.Shot.Kind) != "dry stroke" {
		t.Error("a dry stroke waits to be assigned")
	}
}

func TestShot(t *testing.T) {
	t.Parallel()
	row, scores := shot(t, func(s *lab.Shot) {
		s.MapSHA256, s.MetaTyped, s.EffectiveFrom = record.Hash{}, []string{"location"}, lab.FromHeader
		s.AmbientC, s.Extra = new(21.5), map[string]string{"chamber": "B"}
	}, func(b *lab.Score) {
		b.MapSHA256, b.GuessedMap = record.Hash{}, "name = \"guess\"\n"
		b.Results = map[string]lab.Result{
			"zeta": {Value: 1.5}, "hic15": {Value: 330.6, ExpandedUncertainty: new(11.7), FromS: new(0.0017), ToS: new(0.00725)},
			"impact_duration": {Value: 0.0095, Unit: "s"}, "impact_speed": {Value: 5.473, Unit: "m/s", Note: "typed"},
			"peak_angular_acceleration": {Value: 5414.3, Unit: "rad/s2", AtS: new(0.0043)}}
		b.Faults = []lab.Fault{{Code: "bad_value", What: "text", Line: 812, Column: 3, Channel: "ay", Fix: "mend"}, {Code: "bad_value", What: "text", Line: 813, Column: 3, Channel: "ay", Fix: "mend"}}
		b.Error = &b.Faults[0]
	})
	p := present.Shot(&row, scores, time.UTC, "kPa")
	var lines []string
	for _, r := range p.Results {
		lines = append(lines, strings.Join([]string{r.Key, r.Value.Text, r.Value.Unit, r.Value.Uncertainty, r.At.Text, r.To.Text, r.Note}, "|"))
	}
	want := []string{"impact_speed|5.47|m/s||||typed", "hic15|331||12|1.7|7.2|", "impact_duration|9.5|ms||||", "peak_angular_acceleration|5414|rad/s²||4.3||", "zeta|1.50|||||"}
	if !slices.Equal(lines, want) {
		t.Errorf("results:\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
	if len(p.Errors) != 2 || p.Errors[0].Line != 812 || p.Errors[1].Channel != "ay" {
		t.Errorf("errors: %+v", p.Errors)
	}
	if !p.Map.Guessed || !strings.Contains(p.Map.Text, "guess") || p.AtFrom != "from the file's header" {
		t.Errorf("map %+v, time %q", p.Map, p.AtFrom)
	}
	meta := map[string]page.MetaRow{}
	for _, m := range p.Meta {
		meta[m.Label] = m
	}
	if m := meta["Impact location"]; m.Value.Text != "front" || !m.Manual {
		t.Errorf("a typed field: %+v", m)
	}
	if m := meta["Specimen"]; m.Manual || meta["Ambient temperature"].Value.Unit != "°C" || meta["chamber"].Value.Text != "B" {
		t.Errorf("meta: %+v", meta)
	}
	if _, there := meta["Neck"]; there {
		t.Error("a further field that was not recorded is listed")
	}
}

// A dry stroke that shows noise only has no figures, and no flag says that it has no
// impact; one that did hit something has both.
func TestDryStroke(t *testing.T) {
	t.Parallel()
	dry := func(s *lab.Shot) { s.Meta, s.Kind = lab.Meta{}, lab.ShotDry }
	noise := func(b *lab.Score) {
		b.Results = map[string]lab.Result{"peak_linear_acceleration": {Value: 0.5, Unit: "g"}, "hic15": {Value: 0}}
		b.Flags = []lab.Flag{{Code: "noise_floor", Channel: "ax", Text: "x"}, {Code: "no_impact", Text: "x"}, {Code: "uncertainty_unknown", Text: "x"}, {Code: "dead_channel", Channel: "ay", Text: "x"}}
	}
	row, scores := shot(t, dry, noise)
	p := present.ShotRow(&row, time.UTC)
	for name, n := range map[string]page.Number{"peak": p.PeakG, "SI": p.SI, "HIC": p.HIC15} {
		if n.Text != "" || n.Missing != "dry stroke" {
			t.Errorf("%s: %+v, want none", name, n)
		}
	}
	for where, flags := range map[string][]page.Flag{"row": p.Flags, "shot": present.Shot(&row, scores, time.UTC, "kPa").Flags} {
		if len(flags) != 1 || flags[0].Code != "dead_channel" {
			t.Errorf("%s: flags %+v, want the dead channel only", where, flags)
		}
	}
	row, scores = shot(t, func(*lab.Shot) {}, noise)
	if n := len(present.Shot(&row, scores, time.UTC, "kPa").Flags); n != 4 || present.ShotRow(&row, time.UTC).PeakG.Text != "0.5" {
		t.Errorf("a shot without impact: %d flags, %+v", n, present.ShotRow(&row, time.UTC).PeakG)
	}
	row, _ = shot(t, dry, func(b *lab.Score) {
		b.Results = map[string]lab.Result{"peak_linear_acceleration": {Value: 80, Unit: "g"}, "severity_index": {Value: 300}}
	})
	if p := present.ShotRow(&row, time.UTC); p.PeakG.Text != "80.0" || p.SI.Text != "300" {
		t.Errorf("a dry stroke that hit: %+v %+v", p.PeakG, p.SI)
	}
}

// Who and when the history and the number of a result name, in the zone of the screen.
func TestHistoryOfAnAssignedShot(t *testing.T) {
	t.Parallel()
	zone, person := time.FixedZone("EST", -5*3600), labtest.ID("person").String()
	at := labtest.Start()
	row, scores := shot(t, func(s *lab.Shot) { s.FiredAt, s.EffectiveFrom = 0, lab.FromFileTime }, func(*lab.Score) {})
	trail := present.Trail{Zone: zone, Unit: "kPa", Who: func(id string) string {
		if id == person {
			return "Ann Brook"
		}
		return ""
	}, Edits: []view.Change{
		{Field: "operator", Value: person, Author: lab.AuthorMeta, RecordedAt: at},
		{Field: "operator", Value: "a.b.", Author: lab.AuthorMeta, RecordedAt: at},
		{Field: "fired_at", Value: lab.At(at), Author: person, RecordedAt: at},
	}}
	p := present.Shot(&row, scores, zone, "kPa")
	trail.Show(&p, &row, false)
	var lines []string
	for _, h := range p.History {
		if h.By != "as taken in" || strings.Contains(h.Text, "dated") {
			lines = append(lines, h.By+": "+h.Text)
		}
	}
	shown := page.ShowMoment(at.In(zone))
	want := []string{"as taken in: not recorded; dated " + page.ShowMoment(row.AsMade.EffectiveAt.Time().In(zone)) + ", time of the file",
		"filled in: who was signed in when it came: Ann Brook", "file or program: a.b.", "Ann Brook: " + shown}
	slices.Sort(lines)
	slices.Sort(want)
	if !slices.Equal(lines, want) {
		t.Errorf("history:\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
	twice := append(slices.Clone(scores), scores...)
	if got := present.ResultNumber(twice, zone); strings.Contains(got, "EST") || !strings.Contains(got, "\u221205:00") {
		t.Errorf("it says %q", got)
	}
}

// TestTraces draws a stored file: the half sine of labtest.CSV, whose peak and
// time are known from its making.
func TestTraces(t *testing.T) {
	t.Parallel()
	n := labtest.Open(t)
	f := labtest.FillLab(t, n.Ledger, 1, labtest.Options{Blobs: n.Blobs})
	row, err := n.Reader.Shot(t.Context(), scope.All(), f.Shots[0])
	if err != nil {
		t.Fatal(err)
	}
	s := scoring.Scorer{Blobs: n.Blobs}
	got, err := s.Traces(t.Context(), scoring.JobOf(&row))
	if err != nil {
		t.Fatal(err)
	}
	c := present.Traces(got)
	if c == nil {
		t.Fatal("no traces of a good file")
	}
	if err := c.Check(); err != nil {
		t.Error(err)
	}
	names := map[string]bool{}
	for _, x := range c.Channels {
		names[x.Name] = true
		if x.Name != "ax" {
			continue
		}
		peak := slices.Max(x.Raw)
		at := c.TimeS[slices.Index(x.Raw, peak)]
		if peak < 59 || peak > 71 || at < 0.0049 || at > 0.0051 || x.Unit != "g" || x.Class != "CFC 1000" || x.Axis != "x" {
			t.Errorf("channel ax peaks at %g %s after %g s, %s, axis %s; made with 60 to 70 g after 0.005 s", peak, x.Unit, at, x.Class, x.Axis)
		}
	}
	if !names["ax"] || len(c.Marks) == 0 {
		t.Errorf("channels %v, marks %v", names, c.Marks)
	}
	for _, tc := range []struct {
		startS float64
		kind   string
		want   bool
	}{{0, "delimited", false}, {-0.01, "delimited", true}, {0, "iso13499", true}, {0, "", false}} {
		d := &scoring.Traces{Raw: &signal.Recording{StartS: tc.startS, RateHz: 1000, Channels: []signal.Channel{{Name: "ax", Values: []float64{0, 1}}}}}
		if tc.kind != "" {
			d.Report.Map = &chanmap.Map{Format: chanmap.Format{Kind: tc.kind}}
		}
		if c := present.Traces(d); c.FromTrigger != tc.want {
			t.Errorf("%q from %g s: counted from the trigger %v", tc.kind, tc.startS, c.FromTrigger)
		}
	}
	if present.Traces(nil) != nil || present.Traces(&scoring.Traces{}) != nil {
		t.Error("traces of nothing")
	}
}

// A chance that rests on a fit is never shown as certain.
func TestChanceIsNoCertainty(t *testing.T) {
	for p, want := range map[float64]string{1: "over 99", 0.9951: "over 99", 0.9949: "99", 0.87: "87", 0.01: "1", 0.0099: "under 1", 0: "under 1"} {
		if n := present.Chance(p); n.Text != want || n.Unit != "%" {
			t.Errorf("%g is shown as %q %s, want %q", p, n.Text, n.Unit, want)
		}
	}
}

// Why no pressure is proposed is said in the unit of the rig.
func TestNoProposalInTheRigsUnit(t *testing.T) {
	pressures, speeds := []float64{100, 110, 120, 130, 140, 150}, []float64{4.4, 4.7, 4.9, 5.1, 5.3, 5.5}
	curve, err := ram.FitCurve(pressures, speeds, true)
	if err != nil {
		t.Fatal(err)
	}
	_, why := curve.Pressure(9, 0.95)
	var s page.Step
	present.ProposePressure(&s, speed.Proposal{LowKPa: 100, HighKPa: 150}, why, "psi")
	// 100 and 150 kPa are 14.5 and 21.8 psi.
	if !strings.Contains(s.NoProp, "outside the observed pressures, 14.5 to 21.8 psi") || strings.Contains(s.NoProp, "kPa") {
		t.Errorf("it says %q", s.NoProp)
	}
}

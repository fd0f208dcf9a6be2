package scoring_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/metrics/score"
	"thudbook/metrics/signal"
	"thudbook/sync/blob"
	"thudbook/sync/blob/dirblob"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scoring"
	"thudbook/sync/view"

	"thudbook/sync/scope"
)

func open(t *testing.T) (*dirblob.Store, string) {
	t.Helper()
	dir := t.TempDir()
	b, err := dirblob.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return b, dir
}

func put(t *testing.T, b blob.Store, text []byte) record.Hash {
	t.Helper()
	ref, err := b.Put(t.Context(), bytes.NewReader(text), 0)
	if err != nil {
		t.Fatal(err)
	}
	return ref.SHA256
}

// A stored half sine of 100 g and 10 ms is scored by its stored map. Peak by
// construction; velocity change 2·A·T/π (closed form). The pulse is filtered
// with CFC 1000, hence the tolerance of 0.1 %.
func TestScoreOfAStoredShot(t *testing.T) {
	b, _ := open(t)
	s := scoring.Scorer{Blobs: b}
	j := scoring.Job{Shot: labtest.ID("s"), FileName: "a.csv", Source: put(t, b, labtest.CSV(100)), Map: put(t, b, []byte(labtest.MapTOML)), TypedSpeedMS: new(5.5)}
	got, err := s.Score(t.Context(), j)
	if err != nil {
		t.Fatal(err)
	}
	if got.Error != nil || got.Shot != j.Shot || got.MapSHA256 != j.Map || got.Engine != score.EngineVersion || got.GuessedMap != "" {
		t.Errorf("%+v", got)
	}
	if !slices.Equal(got.Positions, []string{"ax"}) {
		t.Errorf("positions %q, want the column of the map", got.Positions)
	}
	peak := got.Results["peak_linear_acceleration"]
	if math.Abs(peak.Value-100) > 0.1 || peak.Unit != "g" || peak.ExpandedUncertainty == nil || math.Abs(*peak.AtS-0.005) > 0.0002 {
		t.Errorf("peak %+v, want 100 g at 5 ms with an uncertainty", peak)
	}
	// Between the 4 g crossings; the tails below 4 g carry 2·A·T/π·(1−cos(asin 0.04)).
	want := 2 * 100 * 9.80665 * 0.010 / math.Pi * math.Cos(math.Asin(0.04))
	if dv := got.Results["velocity_change"]; math.Abs(dv.Value-want) > 0.001*want {
		t.Errorf("velocity change %+v, want %.4f m/s", dv, want)
	}
	if v := got.Results["impact_speed"]; v.Value != 5.5 {
		t.Errorf("typed speed gives %+v", v)
	}
	if got.Record == nil || got.Record.Samples != 300 || math.Abs(got.Record.RateHz-10000) > 1e-3 || got.Processing == nil || got.Processing.CFC["ax"] != 1000 {
		t.Errorf("record %+v, processing %+v", got.Record, got.Processing)
	}
	kind, _, raw, err := lab.Encode(got)
	if err != nil || kind != lab.KindScore || len(raw) > lab.MaxBody {
		t.Errorf("as a record: %s, %d bytes, %v", kind, len(raw), err)
	}
}

func TestGuessedMapIsKept(t *testing.T) {
	b, _ := open(t)
	s := scoring.Scorer{Blobs: b}
	got, err := s.Score(t.Context(), scoring.Job{Shot: labtest.ID("s"), FileName: "a.csv", Source: put(t, b, labtest.CSV(100))})
	if err != nil {
		t.Fatal(err)
	}
	if got.Positions != nil {
		t.Errorf("a guessed map has the positions %q", got.Positions)
	}
	if !strings.Contains(got.GuessedMap, "ax") || got.MapSHA256 != (record.Hash{}) {
		t.Errorf("guessed map %q", got.GuessedMap)
	}
	if got.Flags[0].Code == "" {
		t.Errorf("flags %+v", got.Flags)
	}
}

// What is wrong with the data is part of the score; what is wrong with the
// store is an error.
func TestBadDataAndBadStore(t *testing.T) {
	b, dir := open(t)
	s := scoring.Scorer{Blobs: b}
	m := put(t, b, []byte(labtest.MapTOML))
	good := put(t, b, labtest.CSV(80))
	for name, j := range map[string]scoring.Job{
		"words":       {Source: put(t, b, []byte("nothing in here\nto be read\n")), Map: m},
		"binary":      {Source: put(t, b, []byte{0, 1, 2, 0, 0, 3}), Map: m},
		"map is none": {Source: good, Map: put(t, b, []byte("name = [broken"))},
		"map is huge": {Source: good, Map: put(t, b, bytes.Repeat([]byte("#\n"), 1<<20))},
	} {
		j.Shot, j.FileName = labtest.ID("s"), name+".csv"
		got, err := s.Score(t.Context(), j)
		if err != nil || got.Error == nil || got.Error.Fix == "" || len(got.Results) != 0 {
			t.Errorf("%s: %+v, %v; want a score with an error", name, got, err)
		}
	}
	partly := append(labtest.CSV(80), []byte("0.03,word\n")...)
	got, err := s.Score(t.Context(), scoring.Job{Shot: labtest.ID("s"), FileName: "p.csv", Source: put(t, b, partly), Map: m})
	if err != nil || got.Error == nil || got.Error.Line != 302 {
		t.Errorf("a word in line 302: %+v, %v", got.Error, err)
	}
	for name, j := range map[string]scoring.Job{"source": {Source: labtest.Hash(5), Map: m}, "map": {Source: good, Map: labtest.Hash(6)}} {
		if _, err := s.Score(t.Context(), j); problem.Of(err) != problem.NotFound {
			t.Errorf("missing %s: %v, want a problem with code not_found", name, err)
		}
	}
	damage(t, dir, good)
	if got, err := s.Score(t.Context(), scoring.Job{Source: good, Map: m, Shot: labtest.ID("s")}); problem.Of(err) != problem.Damaged {
		t.Errorf("damaged source: %+v, %v; want a problem with code damaged", got, err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := s.Score(ctx, scoring.Job{Source: put(t, b, labtest.CSV(81)), Map: m}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// damage changes one digit in the stored file of a sum.
func damage(t *testing.T, dir string, h record.Hash) {
	t.Helper()
	n := 0
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.Contains(strings.ReplaceAll(path, string(filepath.Separator), ""), h.String()) {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		n++
		at := bytes.LastIndexByte(text, '0')
		text[at] = '1'
		return errors.Join(os.Chmod(path, 0o600), os.WriteFile(path, text, 0o600))
	})
	if err != nil || n != 1 {
		t.Fatalf("damaged %d files, %v", n, err)
	}
}

func TestAll(t *testing.T) {
	n := labtest.Open(t)
	f := labtest.FillLab(t, n.Ledger, 30, labtest.Options{Blobs: n.Blobs})
	s := scoring.Scorer{Blobs: n.Blobs}
	jobs := func(yield func(scoring.Job, error) bool) {
		l, err := n.Reader.Shots(t.Context(), scope.All(), view.ShotFilter{}, view.Page{Limit: 100})
		if err != nil {
			yield(scoring.Job{}, err)
			return
		}
		for _, r := range l.Rows {
			if !yield(scoring.JobOf(&r), nil) {
				return
			}
		}
		yield(scoring.Job{Shot: labtest.ID("gone"), Source: labtest.Hash(99)}, nil)
	}
	done := map[uuid.UUID]bool{}
	lost := 0
	err := s.All(t.Context(), jobs, func(j scoring.Job, b *lab.Score, err error) error {
		if err != nil {
			lost++
			return nil
		}
		if done[j.Shot] {
			t.Errorf("shot %v came twice", j.Shot)
		}
		done[j.Shot] = true
		if v := b.Results["peak_linear_acceleration"].Value; v < 55 || v > 75 {
			t.Errorf("shot %v has %g g", j.Shot, v)
		}
		return nil
	})
	if err != nil || len(done) != len(f.Shots) || lost != 1 {
		t.Errorf("%d scored, %d lost, %v; want %d and 1", len(done), lost, err, len(f.Shots))
	}
	stop := errors.New("enough")
	if err := s.All(t.Context(), jobs, func(scoring.Job, *lab.Score, error) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("All = %v, want the error of done", err)
	}
	var broken iter.Seq2[scoring.Job, error] = func(yield func(scoring.Job, error) bool) { yield(scoring.Job{}, stop) }
	if err := s.All(t.Context(), broken, func(scoring.Job, *lab.Score, error) error { return nil }); !errors.Is(err, stop) {
		t.Errorf("All = %v, want the error of the list", err)
	}
}

func TestTraces(t *testing.T) {
	b, _ := open(t)
	s := scoring.Scorer{Blobs: b}
	j := scoring.Job{Shot: labtest.ID("s"), FileName: "a.csv", Source: put(t, b, labtest.CSV(100)), Map: put(t, b, []byte(labtest.MapTOML))}
	tr, err := s.Traces(t.Context(), j)
	if err != nil || tr.Raw == nil || tr.Filtered == nil || tr.Raw.Len() != 300 || len(tr.Raw.Channels) != 1 {
		t.Fatalf("%+v, %v", tr, err)
	}
	if v := tr.Raw.Channels[0].Values[100]; math.Abs(v-100) > 1e-9 {
		t.Errorf("raw sample 100 is %g, the file says 100", v)
	}
	tr, err = s.Traces(t.Context(), scoring.Job{Shot: j.Shot, FileName: "b.csv", Source: put(t, b, []byte("?")), Map: j.Map})
	if err != nil || tr.Raw != nil || tr.Report.Error == nil {
		t.Errorf("unreadable: %+v, %v", tr, err)
	}
}

// However much a report has to say, the score fits in a record.
func TestManyFlagsFit(t *testing.T) {
	rep := score.Report{Engine: "1", Results: map[string]score.Result{"hic15": {Value: 1}}}
	for i := range 500 {
		rep.Flags = append(rep.Flags, score.Flag{Code: "dropout", Channel: fmt.Sprint("\xff", i), Text: strings.Repeat("ä", 600)})
	}
	b := scoring.Body(scoring.Job{Shot: labtest.ID("s")}, &rep)
	_, _, raw, err := lab.Encode(b)
	if err != nil || len(raw) > lab.MaxBody || len(b.Results) != 1 {
		t.Fatalf("%d bytes, %v", len(raw), err)
	}
	if n := len(b.Flags); n < 2 || n > lab.MaxFlags || b.Flags[n-1].Code != lab.FlagFlagsCut {
		t.Errorf("%d flags, the last %q", n, b.Flags[n-1].Code)
	}
}

// Comparisons of twins are kept with the score, as they are.
func TestTwinsAreKept(t *testing.T) {
	rep := score.Report{Engine: score.EngineVersion, Twins: []score.Twin{{Channel: "gate A", Twin: "gate B", Measures: signal.LightGate, Value: 5.5, Other: 5.3, Unit: "m/s", Limit: 0.02}}}
	b := scoring.Body(scoring.Job{Shot: labtest.ID("twins")}, &rep)
	want := []lab.Twins{{Channel: "gate A", Twin: "gate B", Measures: "light gate", Value: 5.5, Other: 5.3, Unit: "m/s", Limit: 0.02}}
	if !slices.Equal(b.Twins, want) || b.Twins[0].Apart() != rep.Twins[0].Apart() {
		t.Errorf("kept as %+v, want %+v", b.Twins, want)
	}
	if err := b.Validate(); err != nil {
		t.Error(err)
	}
	b.Twins[0].Value = 0
	if err := b.Validate(); err == nil {
		t.Error("a comparison with nothing is taken")
	}
}

package intake_test

import (
	"bytes"
	"errors"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"thudbook/agent/intake"
	"thudbook/sync/lab"
	"thudbook/sync/ledger/ledgertest"
)

func TestFinishedFileBecomesAShot(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	text := csv(100)
	w.write("a.csv", text)
	w.write("a.csv.meta.json", `{"specimen":"H-12","location":"front","target_speed_m_s":5.5,"speed_m_s":5.47,"fired_at":"2026-05-04T13:20:00Z","operator":"k.t.","kind":"shot","lot":7}`)
	w.start()
	w.settled()

	r, ok := w.shots()["a.csv"]
	if !ok {
		t.Fatalf("no shot; log:\n%s", w.log)
	}
	s := r.Shot
	if s.Specimen != "H-12" || s.Location != "front" || *s.TargetSpeedMS != 5.5 || s.Operator != "k.t." || s.Extra["lot"] != "7" {
		t.Errorf("meta = %+v", s.Meta)
	}
	if typed := r.TypedFields(); len(typed) != 0 {
		t.Errorf("%v came with the file and count as typed", typed)
	}
	if s.EffectiveFrom != lab.FromMeta || s.EffectiveAt.String() != "2026-05-04T13:20:00.000Z" {
		t.Errorf("effective %s from %s, want the meta's fired_at", s.EffectiveAt, s.EffectiveFrom)
	}
	if s.Rig != w.rig || r.Lab != w.lab {
		t.Errorf("rig %s, lab %s", s.Rig, r.Lab)
	}
	if !bytes.Equal(w.stored(s.SourceSHA256), []byte(text)) {
		t.Error("the kept bytes are not those of the file")
	}
	if got, err := os.ReadFile(w.path("a.csv")); err != nil || string(got) != text {
		t.Errorf("the original was touched: %v", err)
	}
	sc := w.score(r.ID).Score
	// The largest magnitude of (100, 10, 0) g; SAE J211 filters take less than 1 % off a 10 ms pulse.
	if got, want := sc.Results["peak_linear_acceleration"].Value, 100*math.Hypot(1, 0.1); math.Abs(got-want) > want/100 {
		t.Errorf("peak = %g g, want %g within 1 %%", got, want)
	}
	// 1/2 m v² with the typed speed and the map's 15 kg.
	if got, want := sc.Results["ram_energy"].Value, 0.5*15*5.47*5.47; math.Abs(got-want) > 1e-9*want {
		t.Errorf("energy = %g J, want %g", got, want)
	}
	if !w.hasFlag(r.ID, "manual") {
		t.Errorf("the typed speed is not flagged: %+v", sc.Flags)
	}
	if a, ok := r.Attachment(lab.RoleMap); !ok || string(w.stored(a.SHA256)) != mapText {
		t.Error("the channel map is not kept with the shot")
	}
}

func TestBadFilesDoNotStopIntake(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	good := csv(60)
	lines := strings.Split(good, "\n")
	noAY := strings.ReplaceAll(good, "t,ax,ay,az,wx", "t,ax,other,az,wx")
	files := []struct {
		name, text       string
		quarantined      bool
		code             string
		line, column     int
		channel          string
		lost, stillThere string // results
	}{
		{name: "empty.csv", quarantined: true, code: "empty_file"},
		{name: "header.csv", text: "t,ax,ay,az,wx\n", quarantined: true, code: "no_data"},
		{name: "backwards.csv", text: line(good, 700, "0.00100,0,0,0,0"), quarantined: true, code: "time_backwards", line: 700},
		{name: "truncated.csv", text: strings.Join(lines[:900], "\n") + "\n0.0449", code: "truncated_row", line: 901, stillThere: "peak_linear_acceleration"},
		{name: "text.csv", text: line(good, 500, "0.02490,broken,0.1,0,0"), code: "bad_number", line: 500, column: 2, channel: "ax", lost: "peak_linear_acceleration", stillThere: "peak_angular_velocity"},
		{name: "missing.csv", text: noAY, code: "missing_column", channel: "ay", lost: "peak_linear_acceleration", stillThere: "peak_angular_velocity"},
		{name: "nan.csv", text: line(good, 501, "0.02495,NaN,0.1,0,0"), code: "not_finite", line: 501, column: 2, channel: "ax", lost: "peak_linear_acceleration", stillThere: "peak_angular_velocity"},
	}
	for _, f := range files {
		w.write(f.name, f.text)
	}
	w.write("good.csv", good)
	w.start()
	w.settled()
	shots, quarantine := w.shots(), w.quarantine(false)
	if _, ok := shots["good.csv"]; !ok {
		t.Error("the good file was not taken in beside the bad ones")
	}
	for _, f := range files {
		t.Run(f.name, func(t *testing.T) {
			var fault *lab.Fault
			var kept []byte
			if f.quarantined {
				q, ok := quarantine[f.name]
				if !ok {
					t.Fatalf("not in quarantine; log:\n%s", w.log)
				}
				fault, kept = &q.Quarantine.Error, w.stored(q.Quarantine.SourceSHA256)
			} else {
				r, ok := shots[f.name]
				if !ok {
					t.Fatalf("not taken in; log:\n%s", w.log)
				}
				sc := w.score(r.ID).Score
				fault, kept = sc.Error, w.stored(r.Shot.SourceSHA256)
				if fault == nil {
					t.Fatal("the score has no error")
				}
				if _, ok := sc.Results[f.stillThere]; !ok {
					t.Errorf("%s is missing, though its channels can be read", f.stillThere)
				}
				if _, ok := sc.Results[f.lost]; ok {
					t.Errorf("%s is there, though a channel of it cannot be read", f.lost)
				}
				if f.channel != "" && !w.hasFlag(r.ID, "channel_unreadable") {
					t.Errorf("no flag channel_unreadable: %+v", sc.Flags)
				}
			}
			if fault.Code != f.code || f.line > 0 && fault.Line != f.line || f.column > 0 && fault.Column != f.column || f.channel != "" && fault.Channel != f.channel {
				t.Errorf("error = %+v, want code %s, line %d, column %d, channel %q", fault, f.code, f.line, f.column, f.channel)
			}
			if fault.What == "" || fault.Fix == "" {
				t.Errorf("error without words or fix: %+v", fault)
			}
			if string(kept) != f.text {
				t.Error("the original bytes were not kept")
			}
			if !strings.Contains(w.log.String(), f.name) {
				t.Error("the log does not name the file")
			}
		})
	}
	// Another round changes nothing: each is recorded once.
	n := w.in.Counts()
	w.settled()
	if again := w.in.Counts(); again != n {
		t.Errorf("counts moved from %+v to %+v", n, again)
	}
}

func TestFileStillBeingWrittenWaits(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	w.write("map.toml", strings.Replace(mapText, "quiet_ms = 60", "quiet_ms = 500", 1)) // pauses of the writer are far shorter, the whole is longer
	w.start()
	text := csv(80)
	f, err := os.Create(w.path("slow.csv"))
	w.must(err)
	defer f.Close()
	for i := 0; i < len(text); i += len(text)/12 + 1 {
		_, err := f.WriteString(text[i:min(len(text), i+len(text)/12+1)])
		w.must(err)
		w.until("the wait is on the screen", func() bool {
			s := w.in.Folders()[0].Waiting
			return len(s) == 1 && s[0].Name == "slow.csv" && s[0].Why == "still being written"
		})
		if n := len(w.shots()); n != 0 {
			t.Fatalf("%d shots while the file is being written", n)
		}
		w.lookedAfter(time.Now().Add(60 * time.Millisecond))
	}
	w.settled()
	shots := w.shots()
	if len(shots) != 1 || string(w.stored(shots["slow.csv"].Shot.SourceSHA256)) != text {
		t.Errorf("shots = %v, want the whole file once", shots)
	}
	if q := w.quarantine(true); len(q) != 0 {
		t.Errorf("quarantine = %v", q)
	}
}

func TestSameBytesOnce(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	text := csv(70)
	w.write("a.csv", text)
	old := time.Date(2026, 5, 4, 13, 20, 0, 0, time.UTC)
	w.must(os.Chtimes(w.path("a.csv"), old, old))
	w.start()
	w.settled()
	if r := w.shots()["a.csv"]; r.Shot.EffectiveFrom != lab.FromFileTime || !r.Shot.EffectiveAt.Time().Equal(old) {
		t.Errorf("effective %s from %s, want the file's time", r.Shot.EffectiveAt, r.Shot.EffectiveFrom)
	}

	w.restart()
	w.settled()
	if c := w.in.Counts(); c != (intake.Counts{}) {
		t.Errorf("after a restart files were read again: %+v", c)
	}

	w.must(os.Rename(w.path("a.csv"), w.path("renamed.csv"))) // same time, new name
	w.until("the rename is seen again", func() bool { return len(w.sightings()) == 1 })
	w.must(os.Chtimes(w.path("renamed.csv"), old.Add(time.Hour), old.Add(time.Hour))) // new time
	w.until("the new time is seen again", func() bool { return len(w.sightings()) == 2 })
	w.must(os.Rename(w.path("renamed.csv"), w.path("a.csv")))
	w.until("back under the first name at another time", func() bool { return len(w.sightings()) == 3 })
	w.must(os.Chtimes(w.path("a.csv"), old, old)) // as at first: nothing to ask
	w.settled()
	w.restart()
	w.settled()
	if shots, s := w.shots(), w.sightings(); len(shots) != 1 || len(s) != 3 {
		t.Errorf("%d shots and %d sightings, want 1 and 3", len(shots), len(s))
	}
	for _, s := range w.sightings() {
		if s.Sighting.Shot != w.shots()["a.csv"].ID || s.Settled != nil {
			t.Errorf("sighting = %+v", s)
		}
	}
}

func TestChangedFileIsANewShot(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	w.write("a.csv", csv(70))
	w.start()
	w.settled()
	first := w.shots()["a.csv"]
	w.write("a.csv", csv(90))
	w.until("two shots", func() bool { return len(w.shots()) == 2 })
	for _, r := range w.shots() {
		if changed := w.hasFlag(r.ID, "file_changed"); changed != (r.ID != first.ID) {
			t.Errorf("shot %s: file_changed = %v", r.ID, changed)
		}
	}
}

func TestGrownFileIsLinkedToItsFirstPart(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	whole := csv(70)
	part := whole[:strings.Index(whole, "\n0.03000")+1]
	w.write("a.csv", part)
	w.write("a.csv.meta.json", `{"specimen":"H-3","lot":7}`)
	w.start()
	w.settled()
	first := w.shots()["a.csv"]
	f, err := os.OpenFile(w.path("a.csv"), os.O_APPEND|os.O_WRONLY, 0)
	w.must(err)
	_, err = f.WriteString(whole[len(part):])
	w.must(errors.Join(err, f.Close()))
	w.until("the whole file, and the link at its first part", func() bool {
		all := w.shots()
		for _, r := range all {
			if r.ID == first.ID && r.Shot.Extra[intake.ExtraContinuedIn] != "" {
				return len(all) == 2
			}
		}
		return false
	})
	later := ""
	for _, r := range w.shots() {
		if r.ID == first.ID {
			first = r
			continue
		}
		if r.Shot.Extra[intake.ExtraContinues] != first.ID.String() || r.Shot.Extra["lot"] != "7" || !w.hasFlag(r.ID, lab.FlagFileGrew) || w.hasFlag(r.ID, lab.FlagFileChanged) {
			t.Errorf("the grown file: %+v, flags %+v", r.Shot, w.score(r.ID).Score.Flags)
		}
		if string(w.stored(r.Shot.SourceSHA256)) != whole {
			t.Error("the whole file is not kept")
		}
		later = r.ID.String()
	}
	if got := first.Shot.Extra[intake.ExtraContinuedIn]; got != later {
		t.Errorf("the first part names %q, want %s", got, later)
	}
	if string(w.stored(first.Shot.SourceSHA256)) != part || w.hasFlag(first.ID, lab.FlagFileGrew) {
		t.Error("the first part is not as it was")
	}
	if typed := first.TypedFields(); len(typed) != 0 {
		t.Errorf("%v counts as typed by a person", typed)
	}
}

func TestFolderAwayAndBack(t *testing.T) {
	w := newWorld(t, ledgertest.Options{}).start()
	w.write("a.csv", csv(50))
	w.settled()
	away := w.watch + "-away"
	w.must(os.Rename(w.watch, away))
	w.until("the screen says that the folder is not there", func() bool {
		s := w.in.Folders()[0]
		return strings.Contains(s.Problem, "is not there") && s.Fix != ""
	})
	w.must(os.WriteFile(away+"/b.csv", []byte(csv(51)), 0o644))
	w.must(os.Rename(away, w.watch))
	w.until("the file that came meanwhile", func() bool { return len(w.shots()) == 2 })
	w.write("c.csv", csv(52))
	w.until("a file that came after", func() bool { return len(w.shots()) == 3 })
	if s := w.in.Folders()[0]; s.Problem != "" {
		t.Errorf("problem still shown: %s", s.Problem)
	}
	if !strings.Contains(w.log.String(), "watched folder cannot be read") {
		t.Error("the log does not tell of it")
	}
}

func TestOnlyFinishedFilesAreShots(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	for _, name := range []string{"a.csv.tmp", "b.csv.part", "c.csv~", ".d.csv", "~$e.csv", "f.csv.meta.json", "g.toml", "Thumbs.db"} {
		w.write(name, csv(50))
	}
	w.must(os.Mkdir(w.path("folder.csv"), 0o755))
	if out, err := exec.Command("mkfifo", w.path("pipe.csv")).CombinedOutput(); err != nil {
		t.Fatalf("mkfifo: %v %s", err, out)
	}
	w.write("last.csv", csv(51))
	w.start()
	w.until("the one shot", func() bool { return len(w.shots()) == 1 })
	w.settled()
	if shots, q := w.shots(), w.quarantine(true); len(shots) != 1 || len(q) != 0 {
		t.Errorf("shots %v, quarantine %v", shots, q)
	}
	w.must(os.Rename(w.path("a.csv.tmp"), w.path("a.csv")))
	w.until("the renamed file", func() bool { return len(w.shots()) == 2 })
}

func TestRulesOfCompleteness(t *testing.T) {
	whole := csv(64)
	half := whole[:strings.Index(whole, "\n0.03000")+1]
	rules := []struct {
		name, rule, before string
		finish             func(w *world)
		text               string // of the whole file
	}{
		{"rows", "rule = \"rows\"\nrows = 1200\n", half, func(w *world) { w.write("a.csv", whole) }, whole},
		{"footer", "rule = \"footer\"\nfooter = \"# end\"\n", whole, func(w *world) { w.write("a.csv", whole+"# end\n") }, whole + "# end\n"},
		{"marker", "rule = \"marker\"\nmarker = \".done\"\n", whole, func(w *world) { w.write("a.csv.done", "") }, whole},
	}
	for _, r := range rules {
		t.Run(r.name, func(t *testing.T) {
			w := newWorld(t, ledgertest.Options{})
			w.write("map.toml", strings.Replace(mapText, "rule = \"quiet\"\n", r.rule, 1))
			w.write("a.csv", r.before)
			w.start()
			w.until("the wait is shown", func() bool { return len(w.in.Folders()[0].Waiting) == 1 })
			w.lookedAfter(time.Now().Add(300 * time.Millisecond)) // five times quiet_ms: quiet alone must not do
			if n := len(w.shots()) + len(w.quarantine(true)); n != 0 {
				t.Fatalf("taken in before it was complete")
			}
			r.finish(w)
			w.settled()
			s, ok := w.shots()["a.csv"]
			if !ok || len(w.shots()) != 1 {
				t.Fatalf("shots = %v, quarantine = %v", w.shots(), w.quarantine(true))
			}
			if string(w.stored(s.Shot.SourceSHA256)) != r.text || w.hasFlag(s.ID, "incomplete_file") {
				t.Error("not the whole file, or flagged as incomplete")
			}
		})
	}
	t.Run("never complete", func(t *testing.T) {
		w := newWorld(t, ledgertest.Options{}, func(o *intake.Options) { o.Stale = 400 * time.Millisecond })
		w.write("map.toml", strings.Replace(mapText, "rule = \"quiet\"\n", "rule = \"rows\"\nrows = 5000\n", 1))
		w.write("a.csv", whole)
		w.start()
		w.settled()
		if s, ok := w.shots()["a.csv"]; !ok || !w.hasFlag(s.ID, "incomplete_file") {
			t.Error("a file that never satisfies its rule was not taken in with a flag")
		}
	})
}

func TestChannelMap(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	w.must(os.Remove(w.path("map.toml")))
	w.write("guessed.csv", csv(40))
	w.start()
	w.until("a shot without a map", func() bool { return len(w.shots()) == 1 })
	if id := w.shots()["guessed.csv"].ID; !w.hasFlag(id, "map_guessed") || w.in.Folders()[0].Map != "" {
		t.Error("the guess is not shown")
	}

	w.write("map.toml", strings.Replace(mapText, `unit = "s"`, `unit = "fortnight"`, 1))
	w.write("b.csv", csv(41))
	w.until("the fault of the map is shown", func() bool {
		s := w.in.Folders()[0]
		return strings.Contains(s.Problem, "fortnight") && len(s.Waiting) == 1
	})
	w.write("map.toml", mapText)
	w.until("the shot after the map was mended", func() bool { return len(w.shots()) == 2 })
	if s := w.in.Folders()[0]; s.Problem != "" || !strings.Contains(s.Map, "invented rig") {
		t.Errorf("state = %+v", s)
	}

	// A file that this map cannot read is tried again when the map changes.
	w.write("c.csv", strings.Replace(csv(42), "t,ax", "seconds,ax", 1))
	w.until("quarantine", func() bool { return len(w.quarantine(false)) == 1 })
	w.write("map.toml", strings.Replace(mapText, `column = "t"`, `column = "seconds"`, 1))
	w.until("a shot out of quarantine", func() bool { return len(w.shots()) == 3 })
	q := w.quarantine(true)["c.csv"]
	if len(w.quarantine(false)) != 0 || q.Settled == nil || q.Settled.Shot != w.shots()["c.csv"].ID {
		t.Errorf("the quarantine entry is not settled by the shot: %+v", q.Settled)
	}
}

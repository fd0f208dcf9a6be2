package server_test

import (
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// sums adds up the strokes and the shares of a report.
func (s *site) sums(by, from, to string) (strokes int64, percent float64, text string) {
	t := s.w.t
	t.Helper()
	text = s.operator.get("/usage.csv?lab="+s.id.String()+"&by="+by+"&from="+from+"&to="+to).want(t, 200, "usage").body
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		n, e1 := strconv.ParseInt(r[1], 10, 64)
		p, e2 := strconv.ParseFloat(r[2], 64)
		if e1 != nil || e2 != nil {
			t.Fatalf("row %q", r)
		}
		strokes, percent = strokes+n, percent+p
	}
	return strokes, percent, text
}

// However it is shared out, a report comes to what the rig's counters come to:
// shots, void and dry ones, strokes without a file, a file that came twice and
// counts, and what the controller counted beyond.
func TestUsageComesToTheCounters(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Larch", 3) // three, and one with the marker
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	first := now.AddDate(0, -2, 0)
	face := s.manager.make(base+"/items", lab.Item{Class: lab.ClassImpactorFace, Serial: "F-1", Name: "face"})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "second face", "item": face, "effective_at": first.AddDate(0, -1, 0)})
	say := func(key string, b lab.Body) {
		t.Helper()
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, labtest.ID("larch", key), b))
	}
	for i, at := range []time.Time{first, first.Add(time.Hour), now.AddDate(0, -1, 0), now.Add(-2 * time.Hour)} {
		say("shot "+strconv.Itoa(i), labtest.Shot(s.Rig, at, func(x *lab.Shot) { x.FileName, x.Specimen = "s"+strconv.Itoa(i)+".csv", "L-1" }))
	}
	say("void", &lab.Void{Shot: labtest.ID("larch", "shot 1"), Reason: "guard open"})
	say("dry", &lab.Strokes{Rig: s.Rig, Kind: lab.ShotDry, Number: 5, EffectiveAt: lab.At(first.Add(2 * time.Hour))})
	say("no file", &lab.Strokes{Rig: s.Rig, Kind: lab.StrokeNoFile, Number: 2, EffectiveAt: lab.At(now.Add(-time.Hour)), Reason: "the acquisition was off"})
	say("counter before", &lab.CounterRead{Rig: s.Rig, Counter: 1000, EffectiveAt: lab.At(now.Add(-100 * time.Minute))})
	say("counter after", &lab.CounterRead{Rig: s.Rig, Counter: 1012, EffectiveAt: lab.At(now.Add(-30 * time.Second)), Reason: "trials of the valve"})
	s.sync()

	// The site's own three shots and the one with its marker lie between the two
	// readings, as do the two strokes without a file: 12 were counted, 6 are known.
	const filed, dry, bare, beyond = 4 + 4, 5, 2, 12 - 6
	total := int64(filed + dry + bare + beyond)
	if text := words(s.operator.get("/equipment/use/"+face.String()).want(t, 200, "item").body); !strings.Contains(text, "Strokes in all, dry and void ones too "+strconv.FormatInt(total, 10)+" ") {
		t.Errorf("the face's counter is not %d: %.900s", total, text)
	}
	from, to := first.AddDate(0, -1, 0).Format("2006-01"), now.Format("2006-01")
	for _, by := range []string{"owner", "department", "project", "operator", "rig", "campaign", "month"} {
		n, percent, text := s.sums(by, from, to)
		if n != total || percent < 99.9 || percent > 100.1 {
			t.Errorf("by %s: %d strokes, want %d; shares of %.3f %%\n%s", by, n, total, percent, text)
		}
	}
	if _, _, text := s.sums("operator", from, to); !strings.Contains(text, "counted without a file,"+strconv.Itoa(dry+bare+beyond)+",") {
		t.Errorf("by operator:\n%s", text)
	}
	// The file to send says the same; it is read by another program (pdftotext).
	a := s.operator.get("/usage.pdf?lab="+s.id.String()+"&by=rig&from="+from+"&to="+to).want(t, 200, "usage as PDF")
	path := filepath.Join(t.TempDir(), "usage.pdf")
	if err := os.WriteFile(path, []byte(a.body), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-layout", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext (make test-tools installs it): %v", err)
	}
	text := words(string(out))
	for _, want := range []string{"Larch lab", "in all " + strconv.FormatInt(total, 10), from + " to " + to, "no certification"} {
		if !strings.Contains(text, want) {
			t.Errorf("the PDF lacks %q: %s", want, text)
		}
	}
}

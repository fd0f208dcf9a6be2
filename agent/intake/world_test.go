package intake_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/agent/intake"
	"thudbook/sync/blob"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// mapText finishes files after 60 ms, so that tests need not wait for long.
const mapText = `name = "invented rig"
[complete]
rule = "quiet"
quiet_ms = 60
[time]
column = "t"
unit = "s"
[processing]
baseline_ms = 5.0
[ram]
mass_kg = 15.0
[[channel]]
column = "ax"
measures = "linear acceleration"
axis = "x"
unit = "g"
cfc = 1000
[[channel]]
column = "ay"
measures = "linear acceleration"
axis = "y"
unit = "g"
cfc = 1000
[[channel]]
column = "az"
measures = "linear acceleration"
axis = "z"
unit = "g"
cfc = 1000
[[channel]]
column = "wx"
measures = "angular velocity"
axis = "x"
unit = "rad/s"
cfc = 180
`

// world is one rig: a real store, a watched folder, an intake that runs.
type world struct {
	t      *testing.T
	l      *ledgertest.Ledger
	views  *view.Set
	lab    record.LabID
	rig    uuid.UUID
	watch  string
	opt    intake.Options
	in     *intake.Intake
	log    *lockedBuffer
	blobs  func(blob.Store) blob.Store // nil: as it is
	cancel context.CancelFunc
	ended  chan error
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func newWorld(t *testing.T, o ledgertest.Options, change ...func(*intake.Options)) *world {
	t.Helper()
	w := &world{t: t, views: view.New(), lab: uuid.New(), rig: uuid.New(), watch: t.TempDir(), log: &lockedBuffer{}}
	o.Views = w.views
	w.l = ledgertest.Open(t, o)
	w.write("map.toml", mapText)
	w.opt = intake.Options{Folders: []intake.Folder{{Dir: w.watch}}, Reserve: 1, Poll: 30 * time.Millisecond, MetaWait: 40 * time.Millisecond}
	for _, f := range change {
		f(&w.opt)
	}
	w.build()
	return w
}

func (w *world) build() {
	w.t.Helper()
	o := w.opt
	o.Ledger, o.Store, o.Blobs, o.Views = w.l.Ledger, w.l.Store, w.l.Blobs, w.views
	if w.blobs != nil {
		o.Blobs = w.blobs(o.Blobs)
	}
	o.Lab, o.Rig, o.Data = func() record.LabID { return w.lab }, w.rig, w.l.Dir
	o.Log = slog.New(slog.NewTextHandler(w.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	in, err := intake.New(o)
	w.must(err)
	w.in = in
}

func (w *world) start() *world {
	w.t.Helper()
	ctx, cancel := context.WithCancel(w.t.Context())
	w.cancel, w.ended = cancel, make(chan error, 1)
	go func() { w.ended <- w.in.Run(ctx) }()
	w.t.Cleanup(func() { w.stop() })
	return w
}

func (w *world) stop() error {
	if w.cancel == nil {
		return nil
	}
	w.cancel()
	w.cancel = nil
	return <-w.ended
}

// restart closes everything and opens it from the files, as a new process would.
func (w *world) restart() {
	w.t.Helper()
	w.must(w.stop())
	w.l.Reopen(w.t)
	w.build()
	w.start()
}

func (w *world) must(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *world) path(name string) string { return filepath.Join(w.watch, name) }

func (w *world) write(name, text string) {
	w.t.Helper()
	w.must(os.WriteFile(w.path(name), []byte(text), 0o644))
}

// until waits for a condition that real files and a real store bring about.
func (w *world) until(what string, ok func() bool) {
	w.t.Helper()
	w.within(30*time.Second, what, ok)
}

func (w *world) within(limit time.Duration, what string, ok func() bool) {
	w.t.Helper()
	for deadline := time.Now().Add(limit); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	w.t.Fatalf("waited in vain for: %s\nstate: %+v\nlog:\n%s", what, w.in.Folders(), w.log)
}

// lookedAfter waits until the whole folder was looked at after an instant.
func (w *world) lookedAfter(at time.Time) {
	w.t.Helper()
	w.until("the folder is looked at again", func() bool { return w.in.Folders()[0].Looked.After(at) })
}

// settled waits until every file of the folder is dealt with.
func (w *world) settled() {
	w.t.Helper()
	start := time.Now()
	w.until("nothing waits in the folder", func() bool {
		f := w.in.Folders()[0]
		return f.Looked.After(start) && len(f.Waiting) == 0
	})
}

func (w *world) reader() *view.Reader { return w.views.Reader(w.l.Store) }

// shots gives all shots by file name; a name twice fails the test.
func (w *world) shots() map[string]view.ShotRow {
	w.t.Helper()
	list, err := w.reader().Shots(w.t.Context(), scope.All(), view.ShotFilter{Oldest: true}, view.Page{Limit: 1000})
	w.must(err)
	out := map[string]view.ShotRow{}
	for _, r := range list.Rows {
		key := r.Shot.FileName
		for n := 2; out[key].ID != uuid.Nil; n++ {
			key = fmt.Sprintf("%s #%d", r.Shot.FileName, n)
		}
		out[key] = r
	}
	return out
}

func (w *world) score(id uuid.UUID) view.ScoreRow {
	w.t.Helper()
	s, err := w.reader().Scores(w.t.Context(), scope.All(), id)
	w.must(err)
	if len(s) != 1 {
		w.t.Fatalf("shot %s has %d scores, want 1", id, len(s))
	}
	return s[0]
}

func (w *world) hasFlag(id uuid.UUID, code string) bool {
	w.t.Helper()
	for _, f := range w.score(id).Score.Flags {
		if f.Code == code {
			return true
		}
	}
	return false
}

func (w *world) quarantine(all bool) map[string]view.QuarantineRow {
	w.t.Helper()
	list, err := w.reader().Quarantine(w.t.Context(), scope.All(), all, view.Page{Limit: 1000})
	w.must(err)
	out := map[string]view.QuarantineRow{}
	for _, r := range list.Rows {
		out[r.Quarantine.FileName] = r
	}
	return out
}

func (w *world) sightings() []view.SightingRow {
	w.t.Helper()
	list, err := w.reader().Sightings(w.t.Context(), scope.All(), view.SightingFilter{}, view.Page{})
	w.must(err)
	return list.Rows
}

// stored gives the kept bytes of a sum.
func (w *world) stored(h record.Hash) []byte {
	w.t.Helper()
	f, _, err := w.l.Blobs.Open(w.t.Context(), h)
	w.must(err)
	defer f.Close()
	b, err := io.ReadAll(f)
	w.must(err)
	return b
}

// csv makes an acquisition file of a half sine: peakG for 10 ms from 20 ms on,
// sampled at 20 kHz for 60 ms.
func csv(peakG float64) string {
	var b strings.Builder
	b.WriteString("t,ax,ay,az,wx\n")
	for i := range 1200 {
		t := float64(i) / 20000
		a, w := 0.0, 0.0
		if t >= 0.020 && t < 0.030 {
			a = peakG * math.Sin(math.Pi*(t-0.020)/0.010)
			w = 20 * (1 - math.Cos(math.Pi*(t-0.020)/0.010)) / 2
		}
		fmt.Fprintf(&b, "%.5f,%.5f,%.5f,0.00000,%.5f\n", t, a, a/10, w)
	}
	return b.String()
}

// line replaces line n (from 1) of a text.
func line(text string, n int, with string) string {
	lines := strings.Split(text, "\n")
	lines[n-1] = with
	return strings.Join(lines, "\n")
}

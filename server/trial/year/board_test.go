package year

import (
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/home"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// BenchmarkBoard asks a running server for the page What is due, the items of a
// lab, and the metrics of items, with a year of three labs in the store. The
// baseline in the same run is one plain pass over the list of shots. THUDBOOK_YEAR_SHOTS
// sets the larger size.
func BenchmarkBoard(b *testing.B) {
	large := max(shots(b), 20_000)
	for _, n := range []int{quick, large} {
		b.Run(fmt.Sprintf("shots=%d", n), func(b *testing.B) {
			dir := filepath.Join(b.TempDir(), "data")
			of, pass := fill(b, dir, n)
			c := &clock{}
			c.set(monthEnd(months - 1))
			s := startSiteOver(b, c, "board", dir)
			for _, x := range []struct{ what, path, has string }{
				{"page", "/health", "rig"},
				{"items", "/api/v1/labs/" + of.String() + "/items", "strokes_since_service"},
			} {
				b.Run(x.what, func(b *testing.B) {
					var all []time.Duration
					for b.Loop() {
						began := time.Now()
						if t := s.text(http.MethodGet, x.path, nil); !strings.Contains(t, x.has) {
							b.Fatalf("%s holds no %q", x.path, x.has)
						}
						all = append(all, time.Since(began))
					}
					slices.Sort(all)
					b.ReportMetric(float64(all[len(all)/2].Microseconds())/1000, "ms-median")
					b.ReportMetric(float64(all[len(all)*99/100].Microseconds())/1000, "ms-p99")
					b.ReportMetric(float64(all[len(all)/2])/float64(pass), "of-a-pass")
				})
			}
		})
	}
}

// fill writes a year straight into a server's store, and gives the first lab and
// how long one pass over its shots takes.
func fill(b *testing.B, dir string, n int) (uuid.UUID, time.Duration) {
	b.Helper()
	still := &still{at: begin.Add(-48 * time.Hour)}
	h, err := home.Open(b.Context(), home.Options{Dir: dir, Log: slog.New(slog.DiscardHandler), Now: still.now, Software: "trial"})
	if err != nil {
		b.Fatal(err)
	}
	var of uuid.UUID
	for i, name := range []string{"Cedar", "Birch", "Alder"} {
		p := &plant{id: labtest.ID("lab", name), name: name, campaign: labtest.ID(name, "campaign"), rng: rand.New(rand.NewPCG(uint64(i), 7)), used: map[time.Time]bool{}}
		of = p.id
		labtest.Append(b, h.Ledger, p.id, labtest.Draft(b, p.id, &lab.Named{Name: name}))
		for k := range 2 + i/2 {
			r := &rig{node: &node{t: b, lab: p.id, clock: still, Ledger: &ledgertest.Ledger{Ledger: h.Ledger}}, id: labtest.ID(name, "rig", k)}
			p.rigs = append(p.rigs, r)
		}
		p.equip()
		for m := range months {
			p.care(m)
			for _, r := range p.rigs {
				p.fire(m, r, n/months/7)
			}
		}
		for j := range p.desk {
			e := &p.desk[j]
			e.uid, e.at = p.newID("desk").String(), e.At.Time()
		}
		p.rigs[0].queue = append(p.rigs[0].queue, p.desk...)
		for _, r := range p.rigs {
			r.write(begin.AddDate(2, 0, 0))
		}
	}
	began, seen := time.Now(), 0
	for page := (view.Page{Limit: view.MaxLimit}); ; {
		l, err := h.Reader.Shots(b.Context(), scope.All(), view.ShotFilter{}, page)
		if err != nil {
			b.Fatal(err)
		}
		seen += len(l.Rows)
		if page.After = l.Next; l.Next == "" {
			break
		}
	}
	pass := time.Since(began)
	if seen < n*9/10 {
		b.Fatalf("%d shots in the store, want about %d", seen, n)
	}
	if err := h.Close(); err != nil {
		b.Fatal(err)
	}
	return of, pass
}

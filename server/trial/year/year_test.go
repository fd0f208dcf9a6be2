package year

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab/labtest"
)

const months = 12

// quick is how many shots the year has in the tests; make year takes 100,000.
const quick = 1500

func shots(t testing.TB) int {
	s := os.Getenv("THUDBOOK_YEAR_SHOTS")
	if s == "" {
		return quick
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 100 {
		t.Fatalf("THUDBOOK_YEAR_SHOTS=%q is no number of 100 or more", s)
	}
	return n
}

// TestYear lets three labs work for a year, two of them with a server of their
// own and one with the coordinator's, which fetches the others, and compares
// all counters and due dates of both servers with a count by a script.
func TestYear(t *testing.T) {
	t.Parallel()
	n := shots(t)
	w := newYear(t, n > quick)
	for m := range months {
		began := time.Now()
		w.month(m, n/months/len(w.rigs()))
		if n > quick {
			t.Logf("month %d: %d facts on the servers, %.0f s, %s", m+1, len(w.facts), time.Since(began).Seconds(), memory(t))
		}
		if m == months/2-1 || m == months-1 || n > quick && m%3 == 2 {
			w.compare(m)
		}
	}
	kinds := map[string]int{}
	for i := range w.facts {
		kinds[w.facts[i].Kind]++
	}
	for _, k := range []string{"item", "plan", "set", "mount", "shot", "again", "settle", "bare", "counter", "service", "certificate", "correction", "state", "void", "move", "withdraw", "cell"} {
		if kinds[k] == 0 {
			t.Errorf("the year has no fact of the kind %s: it compares less than it says", k)
		}
	}
	t.Logf("compared: %v", kinds)
}

// world is three labs and two servers.
type world struct {
	t      *testing.T
	clock  *clock
	home   *site // of the first two labs
	pool   *site // of the third, and the coordinator's
	plants []*plant
	facts  []fact // that have reached a server
}

func newYear(t *testing.T, full bool) *world {
	w := &world{t: t, clock: &clock{}}
	w.clock.set(begin.Add(-24 * time.Hour))
	w.home, w.pool = startSite(t, w.clock, "home"), startSite(t, w.clock, "pool")
	for i, x := range []struct {
		name string
		rigs int
		at   *site
	}{{"Alder", 3, w.home}, {"Birch", 2, w.home}, {"Cedar", 2, w.pool}} {
		p := &plant{name: x.name, rng: rand.New(rand.NewPCG(uint64(i), 7)), used: map[time.Time]bool{}}
		var made struct{ ID uuid.UUID }
		x.at.ask(http.MethodPost, "/api/v1/labs", map[string]string{"name": x.name}, &made)
		p.id, p.campaign = made.ID, labtest.ID(x.name, "campaign")
		for k := range x.rigs {
			p.rigs = append(p.rigs, &rig{node: newNode(t, x.at, p.id, full), id: labtest.ID(x.name, "rig", k)})
		}
		if x.at == w.home {
			var code struct{ Code string }
			x.at.ask(http.MethodPost, "/api/v1/labs/"+p.id.String()+"/codes", map[string]string{"name": "coordinator"}, &code)
			w.pool.form("/servers", url.Values{"key": {uuid.NewString()}, "server": {w.home.url}, "code": {code.Code}}, http.StatusSeeOther)
		}
		p.equip()
		w.plants = append(w.plants, p)
	}
	return w
}

func (w *world) rigs() (all []*rig) {
	for _, p := range w.plants {
		all = append(all, p.rigs...)
	}
	return all
}

// month lets every rig fire n shots. A rig exchanges with its server when it has
// a network; one has none until October.
func (w *world) month(m, n int) {
	end := monthEnd(m)
	for _, p := range w.plants {
		p.care(m)
		for _, r := range p.rigs {
			p.fire(m, r, n)
		}
	}
	w.clock.set(end)
	w.home.signIn()
	w.pool.signIn()
	for _, p := range w.plants {
		for i, r := range p.rigs {
			until := end
			if m == months-1 {
				until = end.AddDate(1, 0, 0) // what would come later is written down now
			}
			r.write(until)
			if away := i == 1 && m < 9; m == months-1 || m == 0 && i == 0 || !away && p.rng.IntN(3) > 0 {
				w.facts = append(w.facts, r.sync()...)
			}
		}
		for _, e := range p.desk {
			var made struct{ ID string }
			path := map[string]string{"service": "services", "certificate": "calibrations"}[e.Kind]
			p.rigs[0].server.ask(http.MethodPost, "/api/v1/labs/"+p.id.String()+"/"+path+"?confirmed=yes", e.body, &made)
			e.ID, e.AtMS = made.ID, int64(e.At)
			w.facts = append(w.facts, e.fact)
		}
		p.desk = nil
	}
}

// compare holds both servers against the script.
func (w *world) compare(m int) {
	w.t.Helper()
	want := recount(w.t, w.facts, monthEnd(m))
	worn := int64(0)
	for _, i := range want.Items {
		worn += i.Total
	}
	if len(want.Items) < 60 || worn == 0 {
		w.t.Fatalf("the script counts %d items with %d strokes", len(want.Items), worn)
	}
	if d := differ(want.of(w.plants[:2]), w.home.seen(w.plants[:2])); len(d) > 0 {
		w.t.Errorf("month %d, the labs' own server: %d differ from the script\n%s", m+1, len(d), first(d))
	}
	var d []string
	for end := time.Now().Add(15 * time.Minute); ; time.Sleep(100 * time.Millisecond) { // the coordinator's server fetches by itself
		if d = differ(want, w.pool.seen(w.plants)); len(d) == 0 {
			return
		}
		if time.Now().After(end) || w.t.Failed() {
			break
		}
	}
	w.t.Errorf("month %d, the coordinator's server: %d differ from the script\n%s", m+1, len(d), first(d))
}

// of narrows to some labs.
func (s shown) of(plants []*plant) shown {
	in := func(id string) bool {
		return slices.ContainsFunc(plants, func(p *plant) bool { return p.id.String() == id })
	}
	out := shown{maps.Clone(s.Labs), maps.Clone(s.Items), maps.Clone(s.Cells)}
	maps.DeleteFunc(out.Labs, func(id string, _ labShown) bool { return !in(id) })
	maps.DeleteFunc(out.Items, func(_ string, i itemShown) bool { return !in(i.Lab) })
	maps.DeleteFunc(out.Cells, func(k string, _ cellShown) bool { return !in(k[:36]) })
	return out
}

func first(d []string) (s string) {
	for _, x := range d[:min(8, len(d))] {
		s += x + "\n"
	}
	return s
}

func differ(want, got shown) []string {
	return slices.Concat(unlike("lab", want.Labs, got.Labs), unlike("item", want.Items, got.Items), unlike("cell", want.Cells, got.Cells))
}

func unlike[V any](what string, want, got map[string]V) (out []string) {
	for _, k := range slices.Sorted(maps.Keys(want)) {
		if g, ok := got[k]; !ok {
			out = append(out, fmt.Sprintf("%s %s is not shown", what, k))
		} else if !reflect.DeepEqual(want[k], g) {
			out = append(out, fmt.Sprintf("%s %s: script %+v, server %+v", what, k, want[k], g))
		}
	}
	for k := range got {
		if _, ok := want[k]; !ok {
			out = append(out, fmt.Sprintf("%s %s is shown, and was not counted", what, k))
		}
	}
	return out
}

// memory is what this process takes: both servers, the rigs and the trial itself.
func memory(t testing.TB) string {
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return err.Error()
	}
	out := ""
	for l := range strings.Lines(string(b)) {
		if len(l) > 8 && (l[:8] == "RssAnon:" || l[:6] == "VmRSS:") {
			out += strings.Join(strings.Fields(l), " ") + " "
		}
	}
	return out
}

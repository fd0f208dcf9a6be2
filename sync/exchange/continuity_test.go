package exchange_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	bolt "go.etcd.io/bbolt"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// scene is an agent and a server with real views, and all shots that were ever
// acknowledged by the server, or stand in a folder that is still in use.
type scene struct {
	t             *testing.T
	agent, server *ledgertest.Ledger
	twin          *ledgertest.Ledger // a second PC with the same key; nil: none
	service       *exchange.Service
	lab           record.LabID
	shots         map[uuid.UUID]string
	told          []string // what the agent's session and ledger said
	alarms        []exchange.Alarm
	start         time.Time
}

func newScene(t *testing.T) *scene {
	c := &scene{t: t, lab: exchangetest.Lab(t), shots: map[uuid.UUID]string{}, start: labtest.Start()}
	c.agent, c.server = c.open(""), c.open("")
	c.serve()
	return c
}

func (c *scene) open(dir string) *ledgertest.Ledger {
	return ledgertest.Open(c.t, ledgertest.Options{Dir: dir, Views: view.New()})
}

func (c *scene) serve() {
	c.t.Helper()
	s, err := exchange.NewService(c.t.Context(), exchange.ServiceOptions{Ledger: c.server.Ledger, Blobs: c.server.Blobs, Store: c.server.Store,
		Key: c.server.Node.PrivateKey, Alarm: func(_ context.Context, a exchange.Alarm) error {
			c.alarms = append(c.alarms, a)
			return nil
		}})
	if err != nil {
		c.t.Fatal(err)
	}
	c.service = s
}

// fire takes n shots in, each with its own bytes.
func (c *scene) fire(l *ledgertest.Ledger, who string, n int) {
	c.t.Helper()
	for range n {
		c.start = c.start.Add(time.Minute)
		id := exchangetest.Lab(c.t)
		ref, err := l.Blobs.Put(c.t.Context(), strings.NewReader(id.String()), 0)
		if err != nil {
			c.t.Fatal(err)
		}
		s := labtest.Shot(labtest.ID("rig"), c.start)
		s.SourceSHA256 = ref.SHA256
		labtest.Append(c.t, l.Ledger, c.lab, labtest.Draft(c.t, id, s, record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: "source", Media: "text/csv"}))
		c.shots[id] = who
	}
}

func (c *scene) session(l *ledgertest.Ledger) exchange.Result {
	c.t.Helper()
	o := exchangetest.Options(l, c.service)
	o.Fetch = func(*record.Record, record.Attachment) bool { return true }
	res, err := exchange.Run(c.t.Context(), o, c.service.For(exchangetest.Principal(l, c.lab)))
	if err != nil {
		c.t.Fatalf("session: %v", err)
	}
	for _, n := range res.Notices {
		c.told = append(c.told, n.Err.Error())
	}
	return res
}

// settle exchanges until nothing moves.
func (c *scene) settle() {
	c.t.Helper()
	for range 8 {
		moved := int64(0)
		for _, l := range []*ledgertest.Ledger{c.agent, c.twin} {
			if l == nil {
				continue
			}
			p := c.session(l).Progress
			moved += p.RecordsSent + p.RecordsReceived + p.BlobsSent + p.BlobsReceived + p.GivenBack + p.Rehomed
		}
		if moved == 0 {
			return
		}
	}
	c.t.Fatal("the exchange never comes to rest")
}

// copyOf stops a node, copies its folder and starts it again.
func (c *scene) copyOf(l *ledgertest.Ledger) string {
	c.t.Helper()
	l.Stop(c.t)
	dir := filepath.Join(c.t.TempDir(), "copy")
	copyDir(c.t, l.Dir, dir)
	l.Reopen(c.t)
	return dir
}

// check demands every shot once, on all sides, with its bytes, equal logs and
// equal views; that the views equal rebuilt ones is for the end of the test.
func (c *scene) check() {
	c.t.Helper()
	for _, l := range []*ledgertest.Ledger{c.agent, c.twin, c.server} {
		if l == nil {
			continue
		}
		r := view.New().Reader(l.Store)
		for id, who := range c.shots {
			s, err := r.Shot(c.t.Context(), scope.Labs(c.lab), id)
			if err != nil {
				c.t.Errorf("on %s, a shot of %s: %v", l.Node, who, err)
				continue
			}
			if a, ok := s.Attachment("source"); !ok || l.Blobs.Verify(c.t.Context(), a.SHA256) != nil {
				c.t.Errorf("on %s, the bytes of a shot of %s are missing", l.Node, who)
			}
		}
		labs, err := r.Labs(c.t.Context(), scope.Labs(c.lab), 1)
		if err != nil || len(labs) != 1 || labs[0].Shots != int64(len(c.shots)) {
			c.t.Errorf("on %s the lab has %+v shots (%v), want %d", l.Node, labs, err, len(c.shots))
		}
		if l != c.server {
			exchangetest.Same(c.t, l, c.server, true, c.lab)
			c.sameViews(l)
		}
	}
}

func (c *scene) sameViews(l *ledgertest.Ledger) {
	c.t.Helper()
	err := l.Store.View(c.t.Context(), func(a kv.Reader) error {
		return c.server.Store.View(c.t.Context(), func(b kv.Reader) error {
			diff, err := index.Compare(a, b, view.New().Tables()...)
			for _, d := range diff {
				c.t.Errorf("views differ: %s", d)
			}
			return err
		})
	})
	if err != nil {
		c.t.Fatal(err)
	}
}

// setBack moves the newest transaction out of a store, as one flipped bit in
// its newest meta page does.
func setBack(t *testing.T, path string) {
	t.Helper()
	db, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	tx, err := db.Begin(false)
	if err != nil {
		t.Fatal(err)
	}
	newest, page := tx.ID()%2, db.Info().PageSize
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[newest*page+16+48] ^= 1 // in the number of the transaction, behind a header of 16 bytes
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// remove takes files out of a stopped node's folder and starts it again.
func (c *scene) remove(l *ledgertest.Ledger, paths ...string) {
	c.t.Helper()
	l.Stop(c.t)
	for _, p := range paths {
		if err := os.RemoveAll(p); err != nil {
			c.t.Fatal(err)
		}
	}
	l.Reopen(c.t)
}

// calamity is something that happens to a node after backup was taken and more
// was exchanged.
type calamity struct {
	happens func(c *scene, agentBackup, serverBackup string)
	alarm   string // that the server raises at the latest when the agent writes again; one of them
	told    string // what the agent says in its session, or when its folder is opened
}

// eitherWay: a node that was set back has less than the server, or wrote on and
// has another history; then the chain that it closes tells.
const eitherWay = exchange.AgentSetBack + " " + exchange.ChainClosed

func calamities() map[string]calamity {
	return map[string]calamity{
		"agent's folder restored from an older copy": {func(c *scene, agent, _ string) {
			c.agent.Stop(c.t)
			c.agent = c.open(agent)
		}, eitherWay, "restored from a backup"},
		"agent's store alone set back to an older copy": {func(c *scene, agent, _ string) {
			c.agent.Stop(c.t)
			b, err := os.ReadFile(filepath.Join(agent, "store"))
			if err == nil {
				err = os.WriteFile(c.agent.StorePath(), b, 0o600)
			}
			if err != nil {
				c.t.Fatal(err)
			}
			c.agent.Reopen(c.t)
		}, eitherWay, "restored from a backup"},
		"newest meta page of the agent's store rolled back": {func(c *scene, _, _ string) {
			before, err := c.agent.Head(c.t.Context(), c.agent.Own(c.lab))
			if err != nil {
				c.t.Fatal(err)
			}
			c.fire(c.agent, "agent", 1)
			batch := batchOf(c.t, c.agent, c.lab, before.Seq)
			if _, err := c.service.For(exchangetest.Principal(c.agent, c.lab)).Push(c.t.Context(), batch); err != nil {
				c.t.Fatal(err)
			}
			c.agent.Stop(c.t)
			setBack(c.t, c.agent.StorePath())
			c.agent.Reopen(c.t)
		}, eitherWay, "restored from a backup"},
		"agent's folder wiped, the key kept": {func(c *scene, _, _ string) {
			c.remove(c.agent, c.agent.StorePath(), c.agent.AnchorPath(), filepath.Join(c.agent.Dir, "blobs"))
		}, eitherWay, "restored from a backup"},
		"agent's store wiped, the anchor kept": {func(c *scene, _, _ string) {
			c.remove(c.agent, c.agent.StorePath(), filepath.Join(c.agent.Dir, "blobs"))
		}, eitherWay, "knows nothing of epoch 1"},
		"agent's anchor lost": {func(c *scene, _, _ string) {
			c.remove(c.agent, c.agent.AnchorPath())
		}, exchange.ChainClosed, "there is no anchor file"},
		"agent's anchor damaged": {func(c *scene, _, _ string) {
			c.agent.Stop(c.t)
			if err := os.WriteFile(c.agent.AnchorPath(), bytes.Repeat([]byte("x"), 5000), 0o600); err != nil {
				c.t.Fatal(err)
			}
			c.agent.Reopen(c.t)
		}, exchange.ChainClosed, "the anchor file is damaged"},
		"agent's folder cloned to a second PC, both go on": {func(c *scene, _, _ string) {
			c.twin = c.open(c.copyOf(c.agent))
			c.fire(c.agent, "first PC", 2)
			c.fire(c.twin, "second PC", 3)
		}, exchange.TwoHistories + " " + eitherWay, "restored from a backup"},
		"server restored from an older backup": {func(c *scene, _, server string) {
			c.server.Stop(c.t)
			c.server = c.open(server)
			if _, err := exchange.NewIncarnation(c.t.Context(), c.server.Store); err != nil {
				c.t.Fatal(err)
			}
			c.serve()
		}, exchange.ServerSetBack, "restored from an older backup"},
		"server's folder set back and nobody said so": {func(c *scene, _, server string) {
			c.server.Stop(c.t)
			c.server = c.open(server)
			c.serve()
		}, exchange.ServerSetBack, "restored from an older backup"},
	}
}

// Whatever happens to one side, and whoever writes first afterwards, little or
// much: every shot that was ever acknowledged is on the server, once, with its
// bytes; all sides hold the same logs and views; and a person is told on both
// sides (invariants I3, I5, I6, S4, S5). With THUDBOOK_LONG set, all orders and
// amounts are gone through.
func TestContinuity(t *testing.T) {
	t.Parallel()
	for name, what := range calamities() {
		for _, order := range []string{"agent first", "server first", "both first"} {
			for _, n := range []int{0, 1, 12} {
				if quick := order == "both first" && n == 1; !quick && os.Getenv("THUDBOOK_LONG") == "" {
					continue
				}
				t.Run(fmt.Sprintf("%s/%s/%d", name, order, n), func(t *testing.T) {
					t.Parallel()
					c := newScene(t)
					c.fire(c.agent, "agent, early", 2)
					c.fire(c.server, "server, early", 1)
					c.settle()
					agentBackup, serverBackup := c.copyOf(c.agent), c.copyOf(c.server)
					c.serve()
					c.fire(c.agent, "agent", 3)
					c.fire(c.server, "server", 2)
					c.settle()
					c.alarms, c.told = nil, nil

					what.happens(c, agentBackup, serverBackup)
					old := c.agent.Notices()
					if order != "server first" {
						c.fire(c.agent, "agent, after it", n)
					}
					if order != "agent first" {
						c.fire(c.server, "server, after it", n)
					}
					c.settle()
					if c.twin != nil { // the way out: one of the two is taken out of use
						c.check()
						c.twin.Stop(t)
						c.twin = nil
					}
					c.fire(c.agent, "agent, at last", 1)
					c.fire(c.server, "server, at last", 1)
					c.settle()

					c.check()
					c.told = append(c.told, old...)
					if !strings.Contains(strings.Join(c.told, "\n"), what.told) {
						t.Errorf("the agent said %q, want something with %q", c.told, what.told)
					}
					raised := false
					for _, a := range c.alarms {
						raised = raised || strings.Contains(what.alarm, a.Kind)
					}
					if !raised {
						t.Errorf("the server raised %+v, want %s", c.alarms, what.alarm)
					}
				})
			}
		}
	}
}

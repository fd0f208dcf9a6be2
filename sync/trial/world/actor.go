package world

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/trial/memkv"
)

type keyOf = ed25519.PublicKey

// slots is how many actors may share an instant: each wakes at instants of its
// own, so that never two are awake at once.
const slots = 64

// actor lives a node's life: it records, synchronises, restarts, is restored.
type actor struct {
	w     *World
	n     *node
	slot  int
	rng   *rand.Rand
	group *sync.WaitGroup
}

// sleep lasts about d and ends at an instant that belongs to this actor alone.
func (a *actor) sleep(d time.Duration) {
	now := time.Since(a.w.begin)
	end := (now+d)/slots*slots + slots + time.Duration(a.slot)
	a.w.turn.Unlock()
	time.Sleep(end - now)
	a.w.turn.Lock()
}

func (a *actor) live() {
	a.w.turn.Lock()
	defer a.w.turn.Unlock()
	for time.Since(a.w.begin) < a.w.o.Duration && a.w.broken == nil {
		a.sleep(time.Duration(100+a.rng.IntN(15_000)) * time.Millisecond)
		what, err := a.step()
		a.w.note(a.n.name+" "+what, class(err), a.n)
		if err := a.recover(err); err != nil {
			a.w.violated(fmt.Errorf("%s: %w", a.n.name, err))
		}
	}
}

// recover does what the programs do after an error: open again what stopped.
func (a *actor) recover(err error) error {
	if !errors.Is(err, kv.ErrUnknown) && a.n.ledger.Faulted() == nil {
		return nil
	}
	if a.rng.IntN(2) == 0 {
		return a.n.restart()
	}
	a.n.fault, a.n.full = memkv.Good, false
	if err := a.n.ledger.Recover(a.w.ctx); err != nil {
		return fmt.Errorf("recover: %w", err)
	}
	a.n.forget()
	return a.n.check(true)
}

// step does one thing and says what.
func (a *actor) step() (string, error) {
	n, p := a.n, a.rng.IntN(100)
	if n.server && p < 40 { // servers record little
		p += 25
	}
	switch {
	case p < 40:
		return "records", a.record()
	case p < 72:
		return a.session()
	case p < 76:
		return "restarts", n.restart()
	case p < 80:
		return a.clock(), nil
	case p < 84:
		n.fault = []memkv.Outcome{memkv.Lost, memkv.Kept, memkv.Refuse}[a.rng.IntN(3)]
		return fmt.Sprintf("disk will fail, %d", n.fault), nil
	case p < 87:
		n.full = !n.full
		return fmt.Sprintf("disk full: %v", n.full), nil
	case p < 91:
		return "is backed up", n.save()
	case p < 93:
		return a.restore()
	case p < 94 && !n.server && len(a.w.agent) == 3:
		return a.clone()
	default:
		l := a.w.link(n, a.server())
		l.down = time.Now().Add(time.Duration(a.rng.IntN(60)) * time.Second)
		return "is cut off from " + l.to.name, nil
	}
}

func (a *actor) record() error {
	id := a.n.labs[a.rng.IntN(len(a.n.labs))]
	return a.n.append(id, 1+a.rng.IntN(3), 1+a.rng.IntN(300))
}

// server picks one that is not the node itself.
func (a *actor) server() *node {
	for {
		if s := a.w.serve[a.rng.IntN(len(a.w.serve))]; s != a.n {
			return s
		}
	}
}

func (a *actor) session() (string, error) {
	s := a.server()
	l := a.w.link(a.n, s)
	l.a = a
	_, err := a.n.session(l)
	l.a = nil
	if err == nil || class(err) == "cut" {
		return "session with " + s.name, err
	}
	if problem.Of(err) == problem.Internal {
		return "session with " + s.name + " (" + err.Error() + ")", err
	}
	return "session with " + s.name, err
}

// session brings a node and a server to the same content.
func (n *node) session(l *link) (exchange.Result, error) {
	res, err := exchange.Run(n.w.ctx, exchange.Options{Ledger: n.ledger, Blobs: n.blobs, Store: n.store, Key: n.key,
		Server: exchange.Pinned{ID: l.to.id, Key: l.to.key.Public().(keyOf)}, Software: "trial", Batch: &n.batch, Streams: 1, Now: n.now,
		Fetch: func(*record.Record, record.Attachment) bool { return n.server }}, l)
	for _, t := range res.Notices {
		n.w.counts["notice "+string(problem.Of(t.Err))]++
		if problem.Of(t.Err) == problem.Forked {
			n.told++
		}
	}
	return res, err
}

// meanwhile lets other things happen while a call of a session is on its way.
func (a *actor) meanwhile() {
	if a.rng.IntN(12) == 0 {
		err := a.record()
		a.w.note(a.n.name+" records during a session", class(err), a.n)
	}
}

func (a *actor) clock() string {
	n := a.n
	var to time.Time
	switch a.rng.IntN(5) {
	case 0:
		to = time.Date(1970, 1, 1, 0, 0, 5, 0, time.UTC)
	case 1:
		to = time.Date(2099, 12, 31, 23, 0, 0, 0, time.UTC)
	case 2:
		to = n.now().AddDate(-1, 0, 0)
	case 3:
		to = present().Add(time.Duration(a.rng.IntN(2*int(jump/time.Second))-int(jump/time.Second)) * time.Second)
	default:
		to = present()
	}
	n.offset = time.Until(to)
	return "clock goes to " + n.now().UTC().Format(time.DateTime)
}

func (a *actor) restore() (string, error) {
	if len(a.n.backups) == 0 {
		return "has no backup", nil
	}
	b := a.n.backups[a.rng.IntN(len(a.n.backups))]
	how := []string{storeOnly, noAnchor, wholeImage, nothing}[a.rng.IntN(4)]
	if a.n.server && how == nothing { // a server that lost everything is set up anew
		how = noAnchor
	}
	return "is restored, " + how, a.n.restore(b, how)
}

func (a *actor) clone() (string, error) {
	c, err := a.n.clone()
	if err != nil {
		return "is copied to another machine", err
	}
	a.w.agent = append(a.w.agent, c)
	a.w.start(a.group, c)
	return "is copied to another machine", nil
}

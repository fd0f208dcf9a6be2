package desk

import (
	"context"
	"crypto/rand"
	"errors"
	"sync"
	"time"

	"github.com/google/uuid"
)

// mostOnces is how many forms are remembered as carried out.
const mostOnces = 2000

// onces carries a form out once, however often it is sent: a second press of
// the button waits for the first and goes where that one goes. What failed may
// be tried again under the same key. It is forgotten when the server restarts.
type onces struct {
	mu    sync.Mutex
	runs  map[string]*run
	order []string
}

type run struct {
	done chan struct{}
	to   string
	err  error
}

// errBroken is what a second press gets when the first broke off.
var errBroken = errors.New("the form that was sent first broke off")

func newOnces() *onces { return &onces{runs: map[string]*run{}} }

func (o *onces) do(ctx context.Context, key string, keyed bool, f func(context.Context) (string, error)) (string, error) {
	if !keyed {
		return f(ctx)
	}
	o.mu.Lock()
	r, known := o.runs[key]
	if !known {
		r = &run{done: make(chan struct{})}
		o.remember(key, r)
	}
	o.mu.Unlock()
	if known {
		select {
		case <-r.done:
			return r.to, r.err
		case <-ctx.Done():
			return "", context.Cause(ctx)
		}
	}
	r.err = errBroken // stands when f panics
	defer func() {
		if r.err != nil {
			o.mu.Lock()
			delete(o.runs, key)
			o.mu.Unlock()
		}
		close(r.done)
	}()
	// The browser may have gone for the second press: what was begun is finished.
	r.to, r.err = f(context.WithoutCancel(ctx))
	return r.to, r.err
}

func (o *onces) remember(key string, r *run) {
	if len(o.order) >= mostOnces {
		delete(o.runs, o.order[0])
		o.order = o.order[1:]
	}
	o.runs[key] = r
	o.order = append(o.order, key)
}

// keyring gives a form on a screen that fetches itself again the same key each
// time until it is carried out, so that the form does not change under the
// reader's hands.
type keyring struct {
	mu   sync.Mutex
	kept map[string]string
}

// mostKeys bounds a keyring: forms of people.
const mostKeys = 2000

func (k *keyring) get(whom uuid.UUID, path string) string {
	k.mu.Lock()
	defer k.mu.Unlock()
	at := whom.String() + " " + path
	if k.kept == nil || len(k.kept) > mostKeys {
		k.kept = map[string]string{}
	}
	if k.kept[at] == "" {
		k.kept[at] = newKey()
	}
	return k.kept[at]
}

func (k *keyring) drop(whom uuid.UUID, path string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	delete(k.kept, whom.String()+" "+path)
}

// handover holds one-time codes between the form that makes one and the screen
// that shows it, to the person who made it, once.
type handover struct {
	now func() time.Time

	mu   sync.Mutex
	kept map[string]madeCode
}

type madeCode struct {
	by    uuid.UUID
	made  time.Time
	code  string
	whom  string
	until time.Time
}

// handoverLife is how long a code waits to be shown.
const handoverLife = 2 * time.Minute

func newHandover(now func() time.Time) *handover {
	return &handover{now: now, kept: map[string]madeCode{}}
}

func (h *handover) put(m madeCode) (ticket string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	m.made = h.now()
	for k, old := range h.kept {
		if m.made.Sub(old.made) > handoverLife {
			delete(h.kept, k)
		}
	}
	ticket = rand.Text()
	h.kept[ticket] = m
	return ticket
}

func (h *handover) take(ticket string, by uuid.UUID) (madeCode, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	m, ok := h.kept[ticket]
	if !ok || m.by != by || h.now().Sub(m.made) > handoverLife {
		return madeCode{}, false
	}
	delete(h.kept, ticket)
	return m, true
}

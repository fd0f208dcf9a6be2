package desk

import (
	"crypto/rand"
	"sync"
	"time"

	"github.com/google/uuid"

	"thudbook/web/httpkit"
)

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
		k.kept[at] = httpkit.NewKey()
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

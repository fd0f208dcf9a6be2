// Package device lets tablets and phones beside the rig use the agent's screens:
// pairing by a one-time code, a certificate of the agent's own, a listener apart
// from the one on loopback.
package device

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/secret"
)

// CodeLife is how long a code to pair with is good.
const CodeLife = 5 * time.Minute

// Cookie is the name of the cookie with a device's token. A browser takes a name
// with this prefix only with Secure, for the whole host and no other one.
const Cookie = "__Host-thudbook-device"

const (
	table      kv.Table = "agent/devices" // id -> JSON; stays on this computer
	seenEvery           = 5 * time.Minute
	mostNames           = 60 // characters
	mostPaired          = 50
)

// Device is one that is paired.
type Device struct {
	ID     uuid.UUID `json:"id"`
	Name   string    `json:"name"`
	Token  [32]byte  `json:"token"` // SHA-256 of the token
	Paired time.Time `json:"paired"`
	By     string    `json:"by"` // who made the code: a person's id, or lab.AuthorRig
	Seen   time.Time `json:"seen"`
}

// Seat is the seat of who is signed in on the device.
func (d *Device) Seat() string { return "device/" + d.ID.String() }

// Code is what a device pairs with, once.
type Code struct {
	Text string // at least 128 bits by chance
	By   string
	Made time.Time
}

// use says which code was used up, and by which device.
type use struct {
	text, name string
	at         time.Time
}

// Left is how long the code is still good.
func (c *Code) Left(now time.Time) time.Duration { return max(0, CodeLife-now.Sub(c.Made)) }

// Book knows the devices. It is safe for concurrent use.
type Book struct {
	store kv.Store
	now   func() time.Time
	wrong *secret.Throttle

	mu      sync.Mutex
	code    *Code // nil: none was made, or it was used
	used    *use  // of the code that was used last; nil: none was
	devices map[uuid.UUID]Device
}

// Open reads the devices that are paired; now may be nil.
func Open(ctx context.Context, store kv.Store, now func() time.Time) (*Book, error) {
	if now == nil {
		now = time.Now
	}
	b := &Book{store: store, now: now, devices: map[uuid.UUID]Device{},
		wrong: secret.NewThrottle(now, secret.Limits{Tries: "codes", What: "this device", Free: 5, First: 5 * time.Second, Most: 5 * time.Minute})}
	err := store.View(ctx, func(r kv.Reader) error {
		for e, err := range r.Scan(table, nil, nil) {
			if err != nil {
				return err
			}
			var d Device
			if err := json.Unmarshal(e.Value, &d); err != nil {
				return err
			}
			b.devices[d.ID] = d
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the paired devices: %w", err)
	}
	return b, nil
}

// NewCode makes a code; the one before is void.
func (b *Book) NewCode(by string) Code {
	c := Code{Text: rand.Text(), By: by, Made: b.now()}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.code = &c
	return c
}

// Code is the code that is good now, if there is one.
func (b *Book) Code() (Code, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.code == nil || b.code.Left(b.now()) == 0 {
		return Code{}, false
	}
	return *b.code, true
}

// Pair makes the device at an address known under a name, and returns the token
// that it shows from now on. The code is used up by it.
func (b *Book) Pair(ctx context.Context, code, name, address string) (d Device, token string, err error) {
	if err := b.wrong.Allow(address); err != nil {
		return d, "", err
	}
	name = strings.Join(strings.Fields(name), " ")
	if n := utf8.RuneCountInString(name); n == 0 || n > mostNames || !utf8.ValidString(name) {
		return d, "", problem.New(problem.Invalid, "The device has no name, or one that is too long.", fmt.Sprintf("Give it a name of at most %d characters.", mostNames))
	}
	good, ok := b.use(code)
	if !ok {
		b.wrong.Failed(address)
		if late := b.late(code); late > 0 {
			return d, "", problem.New(problem.Unauthenticated, fmt.Sprintf("This code was good for five minutes, which were over %s ago.", late.Round(time.Second)), "Make a new one at the rig, under Devices.")
		}
		if u := b.usedUp(code); u != nil {
			return d, "", problem.New(problem.Unauthenticated, fmt.Sprintf("This code was used already: at %s it paired the device “%s”. Each code pairs one device.", u.at.Local().Format("15:04:05"), u.name), "If that was this device, open the rig's address on it. Else make a new code at the rig, under Devices; if nobody there knows that device, remove it.")
		}
		return d, "", problem.New(problem.Unauthenticated, "This code is not good: another was made since, or it is mistyped.", "Read the code on the rig's screen again, or make a new one there, under Devices.")
	}
	secretPart := rand.Text() + rand.Text()
	now := b.now()
	d = Device{ID: uuid.New(), Name: name, Token: sha256.Sum256([]byte(secretPart)), Paired: now, By: good.By, Seen: now}
	if len(b.List()) >= mostPaired {
		return d, "", problem.New(problem.Conflict, fmt.Sprintf("There are %d devices already.", mostPaired), "Remove one at the rig, under Devices, and make a new code.")
	}
	if err := b.put(ctx, &d); err != nil {
		return d, "", err
	}
	b.wrong.Succeeded(address)
	b.mu.Lock()
	b.used = &use{text: good.Text, name: name, at: now}
	b.mu.Unlock()
	return d, d.ID.String() + "." + secretPart, nil
}

// late is for how long the code has been over, if it is the one that was made last
// and nobody used it; zero: it is another one.
func (b *Book) late(text string) time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.code == nil || subtle.ConstantTimeCompare([]byte(text), []byte(b.code.Text)) != 1 {
		return 0
	}
	return max(0, b.now().Sub(b.code.Made)-CodeLife)
}

// usedUp says by what a code was used, if it is the one that was used last; nil: it
// is another one.
func (b *Book) usedUp(text string) *use {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.used == nil || subtle.ConstantTimeCompare([]byte(text), []byte(b.used.text)) != 1 {
		return nil
	}
	return b.used
}

// use takes the code if it is the one that is good.
func (b *Book) use(text string) (Code, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.code == nil || b.code.Left(b.now()) == 0 || subtle.ConstantTimeCompare([]byte(text), []byte(b.code.Text)) != 1 {
		return Code{}, false
	}
	c := *b.code
	b.code = nil
	return c, true
}

// Known finds the device that a request comes from by its cookie, and notes that
// it was seen.
func (b *Book) Known(r *http.Request) (Device, bool) {
	c, err := r.Cookie(Cookie)
	if err != nil {
		return Device{}, false
	}
	text, token, _ := strings.Cut(c.Value, ".")
	id, err := uuid.Parse(text)
	if err != nil {
		return Device{}, false
	}
	b.mu.Lock()
	d, ok := b.devices[id]
	b.mu.Unlock()
	sum := sha256.Sum256([]byte(token))
	if !ok || subtle.ConstantTimeCompare(sum[:], d.Token[:]) != 1 {
		return Device{}, false
	}
	if since := b.now().Sub(d.Seen); since >= seenEvery || since < 0 {
		d.Seen = b.now()
		// A store that cannot be written for a while must not lock the device out.
		_ = b.put(r.Context(), &d)
	}
	return d, true
}

// List gives the devices by name.
func (b *Book) List() []Device {
	b.mu.Lock()
	defer b.mu.Unlock()
	all := make([]Device, 0, len(b.devices))
	for _, d := range b.devices {
		all = append(all, d)
	}
	slices.SortFunc(all, func(x, y Device) int {
		return cmp.Or(strings.Compare(x.Name, y.Name), x.Paired.Compare(y.Paired), strings.Compare(x.ID.String(), y.ID.String()))
	})
	return all
}

// Remove ends what a device may do, at once.
func (b *Book) Remove(ctx context.Context, id uuid.UUID) (Device, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	d, ok := b.devices[id]
	if !ok {
		return d, problem.New(problem.NotFound, "This device is not paired any more.", "Look at the list again.")
	}
	if err := b.store.Update(ctx, func(tx kv.Tx) error { return tx.Delete(table, []byte(id.String())) }); err != nil {
		return d, fmt.Errorf("remove a device: %w", err)
	}
	delete(b.devices, id)
	return d, nil
}

// put keeps a device. One that was removed meanwhile is not brought back by a
// note that it was seen.
func (b *Book) put(ctx context.Context, d *Device) error {
	raw, err := json.Marshal(d)
	if err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, had := b.devices[d.ID]; !had && !d.Seen.Equal(d.Paired) {
		return nil
	}
	if err := b.store.Update(ctx, func(tx kv.Tx) error { return tx.Put(table, []byte(d.ID.String()), raw) }); err != nil {
		return fmt.Errorf("keep a device: %w", err)
	}
	b.devices[d.ID] = *d
	return nil
}

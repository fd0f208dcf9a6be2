package uplink

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/httppeer"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// TableSettings keeps what an agent knows of its server.
const TableSettings kv.Table = "uplink.settings"

const settingsVersion = 1

var (
	serverKey    = []byte("server")
	enrollingKey = []byte("enrolling")
)

// Settings are what enrolment settled. They hold no secret: the node's key lies
// in its own file.
type Settings struct {
	URL       string        `json:"url"`
	Server    record.NodeID `json:"server"`
	ServerKey []byte        `json:"server_key"` // pinned
	// NextServerKey is the one that the server announced, pinned beside it.
	NextServerKey []byte       `json:"next_server_key,omitempty"`
	Lab           record.LabID `json:"lab"`
	Name          string       `json:"name"` // of this agent, as the administrator chose it
	EnrolledMS    int64        `json:"enrolled_ms"`
	ClockOffsetMS int64        `json:"clock_offset_ms"` // this clock minus the server's, as measured last
	ExchangedMS   int64        `json:"exchanged_ms"`    // last complete session, by this clock
}

// Pinned gives the server's identity.
func (s *Settings) Pinned() exchange.Pinned {
	return exchange.Pinned{ID: s.Server, Key: ed25519.PublicKey(s.ServerKey), Next: ed25519.PublicKey(s.NextServerKey)}
}

// enrolling remembers an attempt whose answer may have been lost.
type enrolling struct {
	Code record.Hash `json:"code"` // its sum
	ID   uuid.UUID   `json:"id"`
}

// slotted is a key of this uplink's slot.
func (u *Uplink) slotted(key []byte) []byte {
	if u.o.Slot == "" {
		return key
	}
	return []byte(string(key) + "/" + u.o.Slot)
}

// Forget takes the settings away; the records stay. It must not be running.
func (u *Uplink) Forget(ctx context.Context) error {
	err := u.o.Store.Update(ctx, func(tx kv.Tx) error {
		for _, key := range [][]byte{serverKey, enrollingKey} {
			if err := tx.Delete(TableSettings, u.slotted(key)); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("forget the server's settings: %w", err)
	}
	u.adopt(nil)
	return nil
}

func load(ctx context.Context, s kv.Store, key []byte, v any) (found bool, err error) {
	err = s.View(ctx, func(r kv.Reader) error {
		b, err := r.Get(TableSettings, key)
		if err != nil || b == nil {
			return err
		}
		if b[0] != settingsVersion {
			return problem.New(problem.Damaged, "The settings of the server have a layout that this program does not know.",
				"Update the agent, or enrol it again with a new code.")
		}
		found = true
		return record.DecodeBody(b[1:], v)
	})
	return found, err
}

func save(tx kv.Tx, key []byte, v any) error {
	b, err := record.EncodeBody(v)
	if err != nil {
		return err
	}
	return tx.Put(TableSettings, key, append([]byte{settingsVersion}, b...))
}

// Enrol makes this agent known to a server by a one-time code, and pins the
// server's key. It may be repeated with the same code when an answer was lost.
// From then on new records go to the lab that the server names; what was
// recorded before keeps its local lab, which the server takes as an alias.
func (u *Uplink) Enrol(ctx context.Context, url, code string) error {
	err := u.enrol(ctx, url, code)
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.settings == nil && err != nil {
		u.o.Log.Warn("enrolment failed", "server", url, "error", err)
		u.st.failedStart, u.st.since = err, u.o.Now().UTC()
	} else {
		u.st.failedStart = nil
	}
	u.signal()
	return err
}

func (u *Uplink) enrol(ctx context.Context, url, code string) error {
	c, err := exchange.ParseCode(code)
	if err != nil {
		return err
	}
	if err := httppeer.CheckURL(url, u.o.AllowPlain); err != nil {
		return err
	}
	id, err := u.enrollmentID(ctx, c)
	if err != nil {
		return err
	}
	q := exchange.EnrolRequest{Secret: c.Secret[:], EnrollmentID: id, Node: u.o.Ledger.Node(),
		PublicKey: u.present().Public().(ed25519.PublicKey), Software: u.o.Software, TimeMS: u.o.Now().UnixMilli()}
	signed, err := exchange.SealEnrol(u.present(), &q)
	if err != nil {
		return err
	}
	sent := u.o.Now()
	answer, err := httppeer.Enrol(ctx, u.transport(nil), url, signed)
	if err != nil {
		return fmt.Errorf("enrol: %w", err)
	}
	a, err := exchange.OpenEnrolAnswer(&answer, &signed, c)
	if err != nil {
		return err
	}
	now := u.o.Now()
	s := Settings{URL: url, Server: a.Server, ServerKey: a.ServerKey, Lab: a.Lab, Name: a.Name, EnrolledMS: now.UnixMilli(),
		ClockOffsetMS: sent.Add(now.Sub(sent) / 2).Sub(time.UnixMilli(a.TimeMS)).Milliseconds()}
	err = u.o.Store.Update(ctx, func(tx kv.Tx) error {
		if err := save(tx, u.slotted(serverKey), &s); err != nil {
			return err
		}
		return tx.Delete(TableSettings, u.slotted(enrollingKey))
	})
	if err != nil {
		return fmt.Errorf("keep the server's settings: %w", err)
	}
	u.adopt(&s)
	u.o.Log.Info("enrolled", "server", s.URL, "lab", s.Lab.String(), "name", s.Name)
	u.Wake()
	return nil
}

// enrollmentID gives one id per code, kept before anything is sent.
func (u *Uplink) enrollmentID(ctx context.Context, c exchange.Code) (uuid.UUID, error) {
	var e enrolling
	found, err := load(ctx, u.o.Store, u.slotted(enrollingKey), &e)
	if err != nil {
		return e.ID, err
	}
	if found && e.Code == c.Sum() {
		return e.ID, nil
	}
	e = enrolling{Code: c.Sum()}
	if e.ID, err = uuid.NewRandom(); err != nil {
		return e.ID, err
	}
	err = u.o.Store.Update(ctx, func(tx kv.Tx) error { return save(tx, u.slotted(enrollingKey), &e) })
	return e.ID, err
}

package tell

import (
	"context"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
)

// Message is what one subscriber is told at one time.
type Message struct {
	Subscriber uuid.UUID `json:"subscriber"`
	ID         uuid.UUID `json:"id"`
	Lab        string    `json:"lab"` // its name
	Subject    string    `json:"subject"`
	Facts      []Fact    `json:"facts,omitempty"`
	Digest     *Digest   `json:"digest,omitempty"`
	Day        string    `json:"day,omitempty"` // of the digest
	Made       time.Time `json:"made"`
	Next       time.Time `json:"next"` // not before
	Tries      int       `json:"tries"`
	Failed     string    `json:"failed,omitempty"`
	Sent       time.Time `json:"sent,omitzero"`
	GivenUp    bool      `json:"given_up,omitempty"`
}

// told notes that a subscriber was told of a fact, or will be by a message that waits.
type told struct {
	Subscriber uuid.UUID `json:"subscriber"`
	Fact       [32]byte  `json:"fact"`
	At         time.Time `json:"at"`
}

func messages() *index.Table[Message] {
	return &index.Table[Message]{Name: "tell.message", Key: func(m *Message) []byte { return kv.Join(m.Subscriber[:], m.ID[:]) }}
}

func tolds() *index.Table[told] {
	return &index.Table[told]{Name: "tell.told", Key: func(x *told) []byte { return kv.Join(x.Subscriber[:], x.Fact[:]) }}
}

// Bounds of what is kept of one subscriber.
const (
	mostFacts    = 50 // in one message; the rest says how many more
	keptMessages = 200
	keptFor      = 60 * 24 * time.Hour
)

// note puts what a subscriber has not been told of into one message.
func (t *Teller) note(ctx context.Context, s *Subscriber, lab string, facts []Fact) error {
	wanted := slices.DeleteFunc(slices.Clone(facts), func(f Fact) bool { return f.Alarm && !s.Alarms || !f.Alarm && !s.Due })
	if len(wanted) == 0 {
		return nil
	}
	news := 0
	err := t.Store.View(ctx, func(r kv.Reader) error { // most rounds write nothing
		news = 0
		for i := range wanted {
			if _, ok, err := tolds().Get(r, tolds().Key(s.told(&wanted[i]))); err != nil {
				return err
			} else if !ok {
				news++
			}
		}
		return nil
	})
	if err != nil || news == 0 {
		return err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	now := t.Now().UTC()
	return t.Store.Update(ctx, func(tx kv.Tx) error {
		if _, ok, err := subscribers().Get(tx, s.ID[:]); err != nil || !ok {
			return err // taken off since this look began
		}
		m := Message{Subscriber: s.ID, ID: id, Lab: lab, Made: now, Next: now}
		for i := range wanted {
			x := s.told(&wanted[i])
			if _, ok, err := tolds().Get(tx, tolds().Key(x)); err != nil || ok {
				if err != nil {
					return err
				}
				continue
			}
			x.At = now
			if err := tolds().Put(tx, x); err != nil {
				return err
			}
			m.Facts = append(m.Facts, wanted[i])
		}
		if len(m.Facts) == 0 {
			return nil
		}
		m.Subject = subject(m.Facts)
		if n := len(m.Facts); n > mostFacts {
			m.Facts = append(m.Facts[:mostFacts:mostFacts], Fact{Code: "more", Title: fmt.Sprintf("and %d more", n-mostFacts), Path: "/health"})
		}
		if err := messages().Put(tx, &m); err != nil {
			return err
		}
		return trim(tx, s.ID, now)
	})
}

func (s *Subscriber) told(f *Fact) *told {
	return &told{Subscriber: s.ID, Fact: sha256.Sum256([]byte(f.Key))}
}

func subject(facts []Fact) string {
	if len(facts) == 1 {
		return facts[0].Title
	}
	return fmt.Sprintf("%s, and %d more", facts[0].Title, len(facts)-1)
}

// digest puts the digest of the day before into the outbox once its hour has come.
func (t *Teller) digest(ctx context.Context, s *Subscriber, lab string) error {
	if !s.Digest {
		return nil
	}
	zone, err := time.LoadLocation(s.Zone)
	if err != nil || s.Zone == "" {
		zone = time.Local
	}
	now := t.Now().In(zone)
	year, month, day := now.Date()
	last := time.Date(year, month, day-1, 0, 0, 0, 0, zone)
	name := last.Format(time.DateOnly)
	if now.Hour() < s.Hour || s.LastDay >= name || last.Before(s.Since.In(zone).AddDate(0, 0, -1)) {
		return nil
	}
	d, err := t.Source.Digest(ctx, s.Lab, last)
	if err != nil {
		return err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	return t.Store.Update(ctx, func(tx kv.Tx) error {
		x, ok, err := subscribers().Get(tx, s.ID[:])
		if err != nil || !ok || x.LastDay >= name {
			return err
		}
		x.LastDay = name
		if err := subscribers().Put(tx, x); err != nil || d.Empty() && !s.Always {
			return err
		}
		m := Message{Subscriber: s.ID, ID: id, Lab: lab, Subject: "The day " + name, Digest: d, Day: name, Made: now.UTC(), Next: now.UTC()}
		if err := messages().Put(tx, &m); err != nil {
			return err
		}
		return trim(tx, s.ID, now.UTC())
	})
}

// Try puts a message into the outbox that only shows that it arrives.
func (t *Teller) Try(ctx context.Context, s *Subscriber, lab string) error {
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	now := t.Now().UTC()
	m := Message{Subscriber: s.ID, ID: id, Lab: lab, Subject: "A trial message", Made: now, Next: now,
		Facts: []Fact{{Key: "trial", Code: "trial", Title: "A trial message", Text: "Messages of this lab arrive at this address."}}}
	defer t.Wake()
	return t.Store.Update(ctx, func(tx kv.Tx) error { return messages().Put(tx, &m) })
}

// trim forgets old messages that were sent or given up.
func trim(tx kv.Tx, id uuid.UUID, now time.Time) error {
	var over [][]byte
	n := 0
	for m, err := range messages().Scan(tx, id[:], kv.PrefixEnd(id[:]), true) {
		if err != nil {
			return err
		}
		if n++; (n > keptMessages || now.Sub(m.Made) > keptFor) && (m.GivenUp || !m.Sent.IsZero()) {
			over = append(over, messages().Key(m))
		}
	}
	for _, k := range over {
		if err := messages().Delete(tx, k); err != nil {
			return err
		}
	}
	return nil
}

// ready lists what is to be sent to a subscriber now, the oldest first.
func (t *Teller) ready(ctx context.Context, id uuid.UUID) (out []Message, err error) {
	all, err := t.Messages(ctx, id)
	now := t.Now()
	for _, m := range slices.Backward(all) {
		if m.Sent.IsZero() && !m.GivenUp && !m.Next.After(now) {
			out = append(out, m)
		}
	}
	return out, err
}

// Messages lists what a subscriber was and will be sent, the newest first.
func (t *Teller) Messages(ctx context.Context, id uuid.UUID) (out []Message, err error) {
	err = t.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for m, err := range messages().Scan(r, id[:], kv.PrefixEnd(id[:]), true) {
			if err != nil {
				return err
			}
			out = append(out, *m)
		}
		return nil
	})
	return out, err
}

// Waits between tries, and when it is given up.
const (
	firstWait  = time.Minute
	longestGap = 6 * time.Hour
	givenUp    = 3 * 24 * time.Hour
)

// wait is how long to wait after a number of tries: doubled each time, a fifth
// more or less by chance so that many do not come back together.
func wait(tries int) time.Duration {
	w := min(firstWait<<min(tries-1, 20), longestGap)
	return w - w/5 + rand.N(2*w/5)
}

// settle notes what became of a delivery.
func (t *Teller) settle(ctx context.Context, m *Message, failed error) error {
	now := t.Now().UTC()
	m.Tries++
	if m.Failed = ""; failed == nil {
		m.Sent = now
	} else {
		m.Failed, m.Next = sentence(failed), now.Add(wait(m.Tries))
		m.GivenUp = now.Sub(m.Made) > givenUp
	}
	return t.Store.Update(ctx, func(tx kv.Tx) error {
		if _, ok, err := messages().Get(tx, messages().Key(m)); err != nil || !ok {
			return err // taken off meanwhile
		}
		return messages().Put(tx, m)
	})
}

// Again has a message tried now.
func (t *Teller) Again(ctx context.Context, subscriber, id uuid.UUID) error {
	defer t.Wake()
	return t.Store.Update(ctx, func(tx kv.Tx) error {
		m, ok, err := messages().Get(tx, kv.Join(subscriber[:], id[:]))
		if err != nil || !ok || !m.Sent.IsZero() {
			return err
		}
		m.GivenUp, m.Next, m.Made = false, t.Now().UTC(), t.Now().UTC()
		return messages().Put(tx, m)
	})
}

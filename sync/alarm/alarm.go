// Package alarm keeps what a person has to hear of: doubts about continuity,
// peers that were refused, keys and clocks that are wrong. Each is a record, and
// so is that somebody has seen it.
package alarm

import (
	"cmp"
	"context"
	"crypto/sha256"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// The kinds of records; the UID of both is the alarm's id.
const (
	KindRaised record.Kind = "node.alarm"
	KindSeen   record.Kind = "node.alarm_seen"
)

// Raised is the body of KindRaised.
type Raised struct {
	Alarm   string        `json:"alarm"` // as programs know it
	Subject string        `json:"subject"`
	Node    record.NodeID `json:"node"` // that it is about
	Lab     record.LabID  `json:"lab"`  // whose people should hear of it; zero: administrators alone
	Text    string        `json:"text"` // what happened and what to do, in words
}

// Seen is the body of KindSeen.
type Seen struct {
	By string `json:"by"`
}

// Alarm is one row of the list.
type Alarm struct {
	ID uuid.UUID `json:"id"`
	Raised
	AtMS   int64  `json:"at_ms"`
	SeenBy string `json:"seen_by,omitempty"`
	SeenMS int64  `json:"seen_ms,omitempty"`
}

// At is when it was raised first.
func (a *Alarm) At() time.Time { return time.UnixMilli(a.AtMS).UTC() }

// SeenAt is when a person saw it; zero: nobody has.
func (a *Alarm) SeenAt() time.Time {
	if a.SeenMS == 0 {
		return time.Time{}
	}
	return time.UnixMilli(a.SeenMS).UTC()
}

// Book keeps alarms beside a ledger.
type Book struct {
	Ledger *ledger.Ledger
	Store  kv.Store            // that of the ledger
	Lab    func() record.LabID // whose chain gets the records
	Now    func() time.Time
}

func table() index.Table[Alarm] {
	return index.Table[Alarm]{Name: "alarm", Key: func(a *Alarm) []byte { return a.ID[:] }}
}

// idOf makes the same id of the same alarm about the same subject.
func idOf(r *Raised) uuid.UUID {
	sum := sha256.Sum256(kv.Join(kv.Str(r.Alarm), kv.Str(r.Subject), r.Node[:], r.Lab[:]))
	id := uuid.UUID(sum[:16])
	id[6], id[8] = id[6]&0x0f|0x80, id[8]&0x3f|0x80 // version 8
	return id
}

// Raise keeps an alarm, once for the same kind, subject, node and lab, and tells
// whether it is new.
func (b *Book) Raise(ctx context.Context, r Raised) (isNew bool, err error) {
	t := table()
	row := Alarm{ID: idOf(&r), Raised: r, AtMS: b.Now().UnixMilli()}
	known := false
	err = b.Store.View(ctx, func(tx kv.Reader) (err error) { // a repeated one costs no commit
		_, known, err = t.Get(tx, row.ID[:])
		return err
	})
	if err != nil || known {
		return false, err
	}
	recs, err := b.Ledger.AppendWith(ctx, b.Lab(), func(tx kv.Tx) ([]ledger.Draft, error) {
		if _, known, err := t.Get(tx, row.ID[:]); err != nil || known {
			return nil, err
		}
		if err := t.Put(tx, &row); err != nil {
			return nil, err
		}
		body, err := record.EncodeBody(r)
		return []ledger.Draft{{Kind: KindRaised, Schema: 1, UID: row.ID, Body: body}}, err
	})
	return len(recs) > 0, err
}

// See notes who has seen an alarm; the first one counts. allowed tells whether
// that person may know of it.
func (b *Book) See(ctx context.Context, id uuid.UUID, by string, allowed func(*Alarm) bool) error {
	t := table()
	_, err := b.Ledger.AppendWith(ctx, b.Lab(), func(tx kv.Tx) ([]ledger.Draft, error) {
		a, ok, err := t.Get(tx, id[:])
		if err != nil {
			return nil, err
		}
		if !ok || !allowed(a) {
			return nil, problem.New(problem.NotFound, "There is no such alarm.", "Look at the list of alarms.")
		}
		if a.SeenMS != 0 {
			return nil, nil
		}
		a.SeenBy, a.SeenMS = by, b.Now().UnixMilli()
		if err := t.Put(tx, a); err != nil {
			return nil, err
		}
		body, err := record.EncodeBody(Seen{By: by})
		return []ledger.Draft{{Kind: KindSeen, Schema: 1, Author: by, UID: id, Body: body}}, err
	})
	return err
}

// List gives the alarms, those that nobody has seen first, the newest first
// among them.
func (b *Book) List(ctx context.Context) ([]Alarm, error) {
	t := table()
	var out []Alarm
	err := b.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for a, err := range t.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			out = append(out, *a)
		}
		return nil
	})
	slices.SortFunc(out, func(a, b Alarm) int {
		return cmp.Or(cmp.Compare(min(a.SeenMS, 1), min(b.SeenMS, 1)), cmp.Compare(b.AtMS, a.AtMS), slices.Compare(a.ID[:], b.ID[:]))
	})
	return out, err
}

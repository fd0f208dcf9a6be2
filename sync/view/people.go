package view

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// personRow is one person at the rigs: the newest card, all cards that there
// ever were, whether the person is on the list, and whether the cards are
// erased.
type personRow struct {
	UID    uuid.UUID     `json:"u"`
	Lab    record.LabID  `json:"l"`
	Card   *card         `json:"c,omitempty"` // nil: hidden
	Since  int64         `json:"s,omitempty"` // wall time of the oldest card, ns
	First  Stamp         `json:"f"`
	Cards  []record.Hash `json:"a,omitempty"` // sorted
	Mark   *Mark         `json:"k,omitempty"`
	Erased *Mark         `json:"x,omitempty"` // the first
}

type card struct {
	Stamp  Stamp       `json:"t"`
	SHA256 record.Hash `json:"h"`
}

const byCard = "card" // hash of a card

func personTable() *index.Table[personRow] {
	return &index.Table[personRow]{
		Name: "view.person",
		Key:  func(p *personRow) []byte { return docKey(p.UID, p.Lab) },
		Indexes: []index.Index[personRow]{
			{Name: perLab, Keys: func(p *personRow) [][]byte {
				if p.Card == nil {
					return nil
				}
				return one(p.Lab[:])
			}},
			{Name: byCard, Keys: func(p *personRow) (keys [][]byte) {
				for i := range p.Cards {
					keys = append(keys, p.Cards[i][:])
				}
				return keys
			}},
		},
	}
}

func (s *Set) changePerson(tx kv.Tx, r *record.Record, id uuid.UUID, f func(*personRow)) error {
	p, ok, err := s.people.Get(tx, docKey(id, r.Lab))
	if err != nil {
		return err
	}
	if !ok {
		p = &personRow{UID: id, Lab: r.Lab}
	}
	f(p)
	return s.people.Put(tx, p)
}

func (s *Set) person(tx kv.Tx, r *record.Record, b *lab.Person) error {
	if r.UID == [16]byte{} {
		return unusable{errors.New("the record names no person")}
	}
	st := stampOf(r)
	return s.changePerson(tx, r, r.UID, func(p *personRow) {
		if p.Card == nil || st.Compare(p.Card.Stamp) > 0 {
			p.Card = &card{Stamp: st, SHA256: b.CardSHA256}
		}
		if len(p.Cards) == 0 || st.Compare(p.First) < 0 {
			p.First, p.Since = st, r.WallNS
		}
		if i, found := slices.BinarySearchFunc(p.Cards, b.CardSHA256, compareHash); !found {
			p.Cards = slices.Insert(p.Cards, i, b.CardSHA256)
		}
	})
}

func compareHash(a, b record.Hash) int { return bytes.Compare(a[:], b[:]) }

func (s *Set) markPerson(tx kv.Tx, r *record.Record, id uuid.UUID, m Mark) error {
	m.Stamp, m.Author = stampOf(r), r.Author
	return s.changePerson(tx, r, id, func(p *personRow) {
		if p.Mark == nil || m.Stamp.Compare(p.Mark.Stamp) > 0 {
			p.Mark = &m
		}
	})
}

func (s *Set) erasePerson(tx kv.Tx, r *record.Record, b *lab.PersonErased) error {
	m := Mark{Stamp: stampOf(r), Author: r.Author, Reason: b.Reason}
	return s.changePerson(tx, r, b.Person, func(p *personRow) {
		if p.Erased == nil || m.Stamp.Compare(p.Erased.Stamp) < 0 {
			p.Erased = &m
		}
	})
}

// PersonRow is one person at the rigs of a lab, without the name: that stands
// on the card.
type PersonRow struct {
	ID        uuid.UUID
	Lab       record.LabID
	Card      record.Hash   // the one that holds
	Cards     []record.Hash // all that there were
	Since     time.Time     // by the clock of the node that wrote the first card, UTC
	Withdrawn *Mark         // nil: on the list
	Erased    *Mark         // not nil: the cards are gone, or go
}

func (p *personRow) row() PersonRow {
	out := PersonRow{ID: p.UID, Lab: p.Lab, Card: p.Card.SHA256, Cards: slices.Clone(p.Cards), Since: utc(p.Since), Erased: p.Erased}
	if p.Mark != nil && !p.Mark.Lifted {
		out.Withdrawn = p.Mark
	}
	return out
}

// People lists the people of the scope, also those who were withdrawn or
// erased, in the order of lab and id.
func (v *Reader) People(ctx context.Context, sc scope.Scope) (out []PersonRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		for _, id := range labs {
			for p, err := range v.set.people.ScanIndex(r, perLab, id[:], kv.PrefixEnd(id[:]), false) {
				if err != nil {
					return err
				}
				out = append(out, p.row())
			}
		}
		return nil
	})
	return out, err
}

// Person finds one of the people of the scope.
func (v *Reader) Person(ctx context.Context, sc scope.Scope, id uuid.UUID) (out PersonRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		for p, err := range v.set.people.Scan(r, id[:], kv.PrefixEnd(id[:]), false) {
			if err != nil {
				return err
			}
			if p.Card != nil && sc.Allows(p.Lab) {
				out = p.row()
				return nil
			}
		}
		return notFound(lab.KindPerson, id)
	})
	return out, err
}

// CardErased tells whether bytes are the card of a person of the scope whose
// cards are erased.
func (v *Reader) CardErased(ctx context.Context, sc scope.Scope, h record.Hash) (gone bool, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		gone = false
		for p, err := range v.set.people.ScanIndex(r, byCard, h[:], kv.PrefixEnd(h[:]), false) {
			if err != nil {
				return err
			}
			gone = gone || sc.Allows(p.Lab) && p.Erased != nil
		}
		return nil
	})
	return gone, err
}

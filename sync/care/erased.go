package care

import (
	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// cards tells which cards of people are erased, by the records alone: the views
// may be what is damaged.
type cards struct {
	of   map[person][]record.Hash
	gone map[person]bool
}

type person struct {
	lab record.LabID
	id  uuid.UUID
}

func (c *cards) note(r *record.Record) {
	switch r.Kind {
	case lab.KindPerson:
		var b lab.Person
		if record.DecodeBody(r.Body, &b) == nil {
			if c.of == nil {
				c.of = map[person][]record.Hash{}
			}
			p := person{r.Lab, uuid.UUID(r.UID)}
			c.of[p] = append(c.of[p], b.CardSHA256)
		}
	case lab.KindPersonErased:
		var b lab.PersonErased
		if record.DecodeBody(r.Body, &b) == nil {
			if c.gone == nil {
				c.gone = map[person]bool{}
			}
			c.gone[person{r.Lab, b.Person}] = true
		}
	}
}

// erased gives the cards of erased people that are nobody else's.
func (c *cards) erased() map[record.Hash]bool {
	all := map[record.Hash]bool{}
	for p := range c.gone {
		for _, h := range c.of[p] {
			all[h] = true
		}
	}
	for p, held := range c.of {
		for _, h := range held {
			if !c.gone[p] {
				delete(all, h)
			}
		}
	}
	return all
}

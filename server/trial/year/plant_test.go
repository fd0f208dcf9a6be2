package year

import (
	"math/rand/v2"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
)

// plant is one lab: its rigs, its equipment, and who writes what down.
type plant struct {
	id       uuid.UUID
	name     string
	rng      *rand.Rand
	rigs     []*rig
	pieces   []*piece
	campaign uuid.UUID
	used     map[time.Time]bool // no two things at one instant, so that there is no doubt about the order
	n        int
	desk     []entry // what the manager types on the server's pages this month
}

// rig is a rig PC with what it has not written down yet.
type rig struct {
	*node
	id      uuid.UUID
	counter int64 // what the controller shows
}

// piece is an item of equipment.
type piece struct {
	id    uuid.UUID
	class string
}

var positions = []string{"ax", "ay", "az", "wx", "wy", "wz"}

func (p *plant) newID(what string) uuid.UUID {
	p.n++
	return labtest.ID(p.id, what, p.n)
}

// when draws an instant of a month at which nothing else happens.
func (p *plant) when(m int) time.Time {
	for {
		t := begin.Add(time.Duration(m)*monthLength + time.Duration(p.rng.Int64N(int64(monthLength/time.Millisecond)))*time.Millisecond)
		if !p.used[t] {
			p.used[t] = true
			return t
		}
	}
}

func (p *plant) anyRig() *rig     { return p.rigs[p.rng.IntN(len(p.rigs))] }
func (p *plant) oneIn(n int) bool { return p.rng.IntN(n) == 0 }

// tell queues an entry: at once, or up to 25 days late, at a rig.
func (p *plant) tell(r *rig, at time.Time, id uuid.UUID, b lab.Body, f fact) {
	f.Lab, f.At, f.ID = p.id.String(), lab.At(at), id.String()
	e := entry{fact: f, at: at, uid: id.String(), body: b}
	if p.oneIn(5) {
		e.at = at.Add(time.Duration(p.rng.IntN(25*24)) * time.Hour)
	}
	r.queue = append(r.queue, e)
}

// about queues a later word about another entry, by any rig of the lab.
func (p *plant) about(at time.Time, of uuid.UUID, b lab.Body, f fact) {
	f.Lab, f.Of = p.id.String(), of.String()
	r := p.anyRig()
	r.queue = append(r.queue, entry{fact: f, at: at.Add(time.Duration(1+p.rng.IntN(200)) * time.Hour), uid: of.String(), body: b})
}

// withdraw takes an entry back, and sometimes says that it was right after all.
func (p *plant) withdraw(at time.Time, of uuid.UUID, kind record.Kind) {
	r := p.anyRig()
	at = at.Add(time.Duration(1+p.rng.IntN(100)) * time.Hour)
	for i := range 1 + p.rng.IntN(2) {
		lifted := i == 1
		r.queue = append(r.queue, entry{at: at.Add(time.Duration(i) * time.Hour), uid: of.String(),
			fact: fact{Kind: "withdraw", Lab: p.id.String(), Of: of.String(), Yes: !lifted},
			body: &lab.Withdrawn{Doc: of, DocKind: kind, Reason: "invented mistake", Lifted: lifted}})
	}
}

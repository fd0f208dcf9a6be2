package year

import (
	"fmt"
	"time"

	"thudbook/sync/lab"
)

// equip writes down what the lab has, at its first rig, before the year begins.
func (p *plant) equip() {
	at := begin.Add(-24 * time.Hour)
	first := p.rigs[0]
	say := func(f fact, b lab.Body, id fmt.Stringer) {
		at = at.Add(time.Second)
		f.Lab, f.ID, f.At = p.id.String(), id.String(), lab.At(at)
		first.queue = append(first.queue, entry{fact: f, at: at, uid: id.String(), body: b})
	}
	for i, r := range p.rigs {
		say(fact{Kind: "rig"}, &lab.Rig{Name: fmt.Sprintf("%s rig %d", p.name, i+1)}, r.id)
	}
	add := func(class string, change func(*lab.Item)) {
		x := &piece{id: p.newID("item"), class: class}
		p.pieces = append(p.pieces, x)
		i := &lab.Item{Class: class, Serial: fmt.Sprintf("%s-%03d", p.name[:2], len(p.pieces)), Name: class}
		if change != nil {
			change(i)
		}
		say(fact{Kind: "item", Class: class, Opening: i.OpeningStrokes, Strokes: i.ServiceEveryStrokes, Days: i.ServiceEveryDays, Yes: i.CalibrationRequired}, i, x.id)
	}
	for n := range len(p.rigs) + 1 {
		add(lab.ClassRam, func(i *lab.Item) { i.OpeningStrokes, i.ServiceEveryStrokes = int64(p.rng.IntN(3000)), int64(500+500*n) })
		add(lab.ClassLightGate, func(i *lab.Item) { i.CalibrationRequired, i.ServiceEveryDays = true, int64(20+60*n) })
		add(lab.ClassHeadForm, nil)                                        // goes by the plan of its class
		add(lab.ClassHose, func(i *lab.Item) { i.ServiceEveryDays = 300 }) // never serviced
		for range len(positions) + 1 {
			add(lab.ClassSensor, func(i *lab.Item) { i.CalibrationRequired = p.oneIn(2) })
		}
	}
	say(fact{Kind: "plan", Class: lab.ClassHeadForm, Strokes: 700, Days: 90},
		&lab.ServicePlan{Class: lab.ClassHeadForm, EveryStrokes: 700, EveryDays: 90}, lab.ServicePlanOf(p.id, lab.ClassHeadForm))
	c := &lab.Campaign{Name: p.name + " face guards", Owner: "Development"}
	for _, l := range locations {
		c.Cells = append(c.Cells, lab.Cell{Location: l, TargetSpeedMS: target, ToleranceMS: 0.2, Planned: 1000})
	}
	for _, s := range specimens {
		c.Specimens = append(c.Specimens, s)
		for _, l := range locations {
			say(fact{Kind: "cell", Speed: target, Number: 1000}, nil, named(cellOf(s, l)))
		}
	}
	say(fact{Kind: "campaign"}, c, p.campaign)
}

const target = 5.5 // m/s

var (
	locations = []string{"front", "left side", "crown"}
	specimens = []string{"H-01", "H-02", "H-03", "H-04"}
)

func cellOf(specimen, location string) string { return specimen + " " + location }

type named string

func (n named) String() string { return string(n) }

package year

import (
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// care lets a month of work on the equipment happen.
func (p *plant) care(m int) {
	for _, x := range p.pieces {
		if m == 0 && x.class != lab.ClassHose && !p.oneIn(6) {
			p.mount(p.when(0), x)
		}
		if p.oneIn(5) {
			p.mount(p.when(m), x) // moved, to another rig perhaps
		}
		if p.oneIn(12) {
			p.mount(p.when(m), nil) // a place is cleared
		}
		if x.class != lab.ClassHose && p.oneIn(4) {
			p.service(p.when(m), x)
		}
		if (x.class == lab.ClassSensor || x.class == lab.ClassLightGate) && p.oneIn(4) {
			p.certify(p.when(m), x)
		}
		if p.oneIn(15) {
			p.correct(p.when(m), x)
		}
		if p.oneIn(25) {
			at := p.when(m)
			s := &lab.ItemState{Item: x.id, State: lab.States()[p.rng.IntN(4)], EffectiveAt: ms(at), Reason: "invented"}
			p.tell(p.anyRig(), at, p.newID("state"), s, fact{Kind: "state", Item: x.id.String(), Word: s.State})
		}
	}
	if m == 5 { // a plan changes in the middle of the year
		x := p.pieces[0]
		e, err := lab.NewEdit(x.id, lab.KindItem, "service_every_strokes", int64(800))
		if err != nil {
			panic(err)
		}
		p.about(p.when(m), x.id, e, fact{Kind: "set", Word: "service_every_strokes", Number: 800})
	}
}

func (p *plant) mount(at time.Time, x *piece) {
	r := p.anyRig()
	b := &lab.Mounting{Rig: r.id, Position: positions[p.rng.IntN(len(positions))], EffectiveAt: ms(at)}
	f := fact{Kind: "mount", Rig: r.id.String()}
	if x != nil {
		switch b.Item, f.Item = x.id, x.id.String(); x.class {
		case lab.ClassRam, lab.ClassLightGate, lab.ClassHeadForm:
			b.Position = x.class
		}
	}
	f.Position = b.Position
	id := p.newID("mounting")
	p.tell(p.anyRig(), at, id, b, f)
	if p.oneIn(15) {
		p.withdraw(at, id, lab.KindMounting)
	}
}

func (p *plant) service(at time.Time, x *piece) {
	b := &lab.Service{Item: x.id, EffectiveAt: ms(at)}
	f := fact{Kind: "service", Item: x.id.String()}
	if p.oneIn(2) { // on the server's pages
		f.Lab, f.At = p.id.String(), ms(at)
		p.desk = append(p.desk, entry{fact: f, body: b})
		return
	}
	id := p.newID("service")
	p.tell(p.anyRig(), at, id, b, f)
	if p.oneIn(6) {
		p.withdraw(at, id, lab.KindService)
	}
}

func (p *plant) certify(at time.Time, x *piece) {
	due := at.Add(time.Duration(20+p.rng.IntN(380)) * 24 * time.Hour).Truncate(time.Hour)
	id := p.newID("certificate")
	b := &lab.Calibration{Item: x.id, EffectiveAt: ms(at), DueAt: ms(due), Certificate: "K-" + id.String()[:8]}
	f := fact{Kind: "certificate", Item: x.id.String(), DueMS: int64(ms(due))}
	if p.oneIn(2) {
		f.Lab, f.At = p.id.String(), ms(at)
		p.desk = append(p.desk, entry{fact: f, body: b})
		return
	}
	p.tell(p.anyRig(), at, id, b, f)
	if p.oneIn(6) {
		p.withdraw(at, id, lab.KindCalibration)
	}
}

func (p *plant) correct(at time.Time, x *piece) {
	b := &lab.Correction{Item: x.id, Strokes: int64(1 + p.rng.IntN(40)), EffectiveAt: ms(at), Reason: "invented"}
	if p.oneIn(2) {
		b.Strokes = -b.Strokes
	}
	id := p.newID("correction")
	p.tell(p.anyRig(), at, id, b, fact{Kind: "correction", Item: x.id.String(), Number: b.Strokes})
	if p.oneIn(4) {
		p.withdraw(at, id, lab.KindCorrection)
	}
}

// stroke is one that the controller counts.
type stroke struct {
	at time.Time
	n  int64
}

// fire lets a rig fire n shots in a month, and what goes with them.
func (p *plant) fire(m int, r *rig, n int) {
	var all []stroke
	for range n {
		at := p.when(m)
		id := p.shot(r, at)
		all = append(all, stroke{at, 1})
		if p.oneIn(50) { // the same bytes under another name
			again, sighting := p.when(m), p.newID("again")
			p.tell(r, again, sighting, &lab.Sighting{Shot: id, Rig: r.id, FileName: "copy of " + id.String() + ".csv", EffectiveAt: ms(again)}, fact{Kind: "again", Rig: r.id.String()})
			if !p.oneIn(4) {
				counts := p.oneIn(2)
				p.about(again, sighting, &lab.SightingSettled{Sighting: sighting, CountStroke: counts}, fact{Kind: "settle", Yes: counts})
			}
		}
		if p.oneIn(60) { // strokes without a file
			at, id := p.when(m), p.newID("bare")
			b := &lab.Strokes{Rig: r.id, Kind: lab.ShotDry, Number: int64(1 + p.rng.IntN(12)), EffectiveAt: ms(at)}
			p.tell(r, at, id, b, fact{Kind: "bare", Rig: r.id.String(), Number: b.Number})
			all = append(all, stroke{at, b.Number})
			if p.oneIn(6) {
				p.withdraw(at, id, lab.KindStrokes)
			}
		}
	}
	p.readCounter(m, r, all)
}

// readCounter reads the controller's counter twice a month: it counted what was
// fired, and sometimes more, and once in a while it is a new controller.
func (p *plant) readCounter(m int, r *rig, all []stroke) {
	reads := []time.Time{p.when(m), p.when(m)}
	slices.SortFunc(reads, time.Time.Compare)
	slices.SortFunc(all, func(a, b stroke) int { return a.at.Compare(b.at) })
	for _, at := range reads {
		for len(all) > 0 && all[0].at.Before(at) {
			r.counter += all[0].n
			all = all[1:]
		}
		switch {
		case p.oneIn(3):
			r.counter += int64(1 + p.rng.IntN(4))
		case p.oneIn(8):
			r.counter = int64(p.rng.IntN(5))
		}
		p.tell(r, at, p.newID("counter"), &lab.CounterRead{Rig: r.id, Counter: r.counter, EffectiveAt: ms(at)}, fact{Kind: "counter", Rig: r.id.String(), Number: r.counter})
	}
	for _, s := range all {
		r.counter += s.n
	}
}

func (p *plant) shot(r *rig, at time.Time) uuid.UUID {
	id := p.newID("shot")
	speed := float64(int(1000*(target+0.12*p.rng.NormFloat64()))) / 1000
	f := fact{Kind: "shot", Rig: r.id.String(), Word: lab.ShotHit, Speed: speed}
	s := labtest.Shot(r.id, at, func(s *lab.Shot) {
		s.FileName = fmt.Sprintf("shot-%06d.csv", p.n)
		s.TankPressureKPaGauge = nil
		s.Specimen, s.Location, s.Condition = specimens[p.rng.IntN(len(specimens))], locations[p.rng.IntN(len(locations))], ""
		switch {
		case p.oneIn(12):
			s.Kind, s.Meta = lab.ShotDry, lab.Meta{}
		case p.oneIn(20):
			s.Kind, s.Specimen, s.Location, s.ReferencePad = lab.ShotSystemCheck, "", "", "P-1"
		case p.oneIn(15):
			s.Meta = lab.Meta{} // waits to be assigned
		default:
			f.Cell = cellOf(s.Specimen, s.Location)
		}
		f.Word = s.Kind
	})
	p.tell(r, at, id, s, f)
	e := &r.queue[len(r.queue)-1]
	e.attachments = r.store(s, p.n)
	e.more = []lab.Body{labtest.Score(id, speed)}
	if p.oneIn(25) {
		later := at.Add(time.Duration(1+p.rng.IntN(300)) * time.Hour)
		for i := range 1 + p.rng.IntN(2) {
			lifted := i == 1
			r.queue = append(r.queue, entry{at: later.Add(time.Duration(i) * time.Minute), uid: id.String(), body: &lab.Void{Shot: id, Reason: "chin strap open", Lifted: lifted},
				fact: fact{Kind: "void", Lab: p.id.String(), Of: id.String(), Yes: !lifted}})
		}
	}
	if p.oneIn(60) { // it was really fired at another time
		to := at.Add(-time.Duration(p.rng.IntN(5000)) * time.Minute)
		for p.used[to] || to.Before(begin) {
			to = to.Add(61 * time.Minute)
		}
		p.used[to] = true
		edit, err := lab.NewEdit(id, lab.KindShot, "effective_at", ms(to))
		if err != nil {
			panic(err)
		}
		p.about(at, id, edit, fact{Kind: "move", At: ms(to)})
	}
	return id
}

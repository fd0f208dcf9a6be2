package world

import (
	"errors"
	"fmt"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/trial/memkv"
	"thudbook/sync/view"
)

// maxRounds bounds how often everybody talks to everybody until nothing moves.
const maxRounds = 40

// heal ends all faults, lets everybody talk to everybody until nothing moves,
// and compares.
func (w *World) heal() error {
	for _, n := range w.nodes() {
		if err := n.restart(); err != nil {
			return fmt.Errorf("heal: %w", err)
		}
	}
	facts := w.facts()
	for round := 1; ; round++ {
		moved, err := w.round()
		if err != nil {
			return fmt.Errorf("healed, round %d: %w", round, err)
		}
		if !moved {
			break
		}
		if round == maxRounds {
			return errors.New("the nodes do not come to rest")
		}
	}
	for _, n := range w.nodes() {
		n.forget()
		if err := errors.Join(n.check(true), n.checkBlobs(), n.checkViews()); err != nil {
			return err
		}
	}
	if w.broken != nil {
		return w.broken
	}
	if err := w.arrived(facts); err != nil {
		return err
	}
	return w.compare()
}

func (w *World) round() (moved bool, err error) {
	for _, n := range w.nodes() {
		for _, s := range w.serve {
			if s == n {
				continue
			}
			res, err := n.session(w.link(n, s))
			w.note("healing: "+n.name+" with "+s.name, class(err), n, s)
			if err != nil {
				return moved, fmt.Errorf("%s with %s: %w", n.name, s.name, err)
			}
			if w.broken != nil {
				return moved, w.broken
			}
			moved = moved || res.RecordsSent+res.RecordsReceived+res.BlobsSent > 0
		}
	}
	return moved, nil
}

// compare: nodes with equal rights hold equal chains, or a person was told why not.
func (w *World) compare() error {
	told := 0
	for _, n := range w.nodes() {
		told += n.told
	}
	for _, a := range w.nodes() {
		for _, b := range w.serve {
			same, err := w.sameChains(a, b)
			if err != nil {
				return err
			}
			if same && len(a.labs) == len(b.labs) {
				if err := sameViews(a, b); err != nil {
					return err
				}
				w.counts["views compared"]++
			}
		}
	}
	if w.parted {
		w.counts["worlds that end with two histories"]++
	}
	if w.parted && told == 0 {
		return errors.New("two histories under one name, and nobody was told")
	}
	w.counts["worlds"]++
	return nil
}

func (w *World) sameChains(a, b *node) (bool, error) {
	same := true
	for _, pair := range [][2]*node{{a, b}, {b, a}} { // b is a server
		for _, o := range origins(pair[0].heads) {
			h := pair[0].heads[o]
			if !slices.Contains(pair[1].labs, o.Lab) || pair[1].heads[o] == h {
				continue
			}
			same = false
			if w.stranded(a, b, o) {
				w.counts["ends of chains that only an agent still holds"]++
				continue
			}
			if !w.forked(o) {
				return false, fmt.Errorf("healed, but %s has %d records of %s and %s has %d", pair[0].name, h.Seq, o, pair[1].name, pair[1].heads[o].Seq)
			}
			w.parted = true
		}
	}
	return same, nil
}

// stranded: the writer of a chain was set back, a server too, and only an agent
// that may not send the chains of others still has the end of it.
func (w *World) stranded(a, b *node, o record.Origin) bool {
	return w.setBack[line{o.Node, o.Lab}] && !a.server && a.id != o.Node && a.heads[o].Seq > b.heads[o].Seq
}

func sameViews(a, b *node) error {
	return a.store.View(a.w.ctx, func(ra kv.Reader) error {
		return b.store.View(a.w.ctx, func(rb kv.Reader) error {
			return diff(a.name+" and "+b.name, ra, rb, a.views)
		})
	})
}

func diff(what string, a, b kv.Reader, views *view.Set) error {
	d, err := index.Compare(a, b, views.Tables()...)
	if err != nil {
		return err
	}
	if len(d) > 0 {
		return fmt.Errorf("views of %s: %s", what, d[0])
	}
	return nil
}

// checkViews: the views are what the log gives when they are made anew, and
// through a scope one sees the shots of its labs and no others.
func (n *node) checkViews() error {
	again := memkv.Open(&memkv.Disk{})
	shots := map[record.LabID]int{}
	err := again.Update(n.w.ctx, func(tx kv.Tx) error {
		for r, err := range n.ledger.All(n.w.ctx) {
			if err != nil {
				return err
			}
			if err := n.views.Apply(tx, &r); err != nil {
				return err
			}
			if r.Kind == "lab.shot" || len(r.Attachments) > 0 && r.UID != n.w.id("rig", "shared") {
				shots[r.Lab]++
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	err = n.ledger.View(n.w.ctx, func(r kv.Reader) error {
		if err := ledger.ViewsReady(r); err != nil {
			return err
		}
		return again.View(n.w.ctx, func(fresh kv.Reader) error { return diff(n.name+", kept and made anew", r, fresh, n.views) })
	})
	if err != nil {
		return err
	}
	return n.checkScopes(shots)
}

func (n *node) checkScopes(shots map[record.LabID]int) error {
	reader := n.views.Reader(n.store)
	for _, id := range n.w.labs {
		seen, after := 0, ""
		for {
			list, err := reader.Shots(n.w.ctx, scope.Labs(id), view.ShotFilter{}, view.Page{After: after})
			if err != nil {
				return fmt.Errorf("%s: shots of a lab: %w (%s)", n.name, err, problem.Of(err))
			}
			for i := range list.Rows {
				if list.Rows[i].Lab != id {
					return fmt.Errorf("%s shows a shot of another lab", n.name)
				}
			}
			seen += len(list.Rows)
			if after = list.Next; after == "" {
				break
			}
		}
		if seen > shots[id] || seen == 0 && shots[id] > 0 {
			return fmt.Errorf("%s shows %d shots of a lab that has %d", n.name, seen, shots[id])
		}
	}
	return nil
}

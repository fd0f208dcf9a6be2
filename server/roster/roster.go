// Package roster gives the labs as people know them. Records keep the lab that
// they were written under; an agent that was not enrolled yet wrote under an id
// of its own, which later became an alias of the real lab. Here the two are one.
package roster

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/server/enrol"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Roster reads labs from the views and aliases from the registry of agents.
type Roster struct {
	Views  *view.Reader
	Agents *enrol.Registry
}

// Lab is one lab with its counts.
type Lab struct {
	ID         record.LabID
	Name       string
	Shots      int64
	ToAssign   int64
	Quarantine int64
	SeenAgain  int64
}

// Labs lists the labs of a scope by name, aliases counted with the real lab.
func (r *Roster) Labs(ctx context.Context, sc scope.Scope) ([]Lab, error) {
	rows, err := r.Views.Labs(ctx, sc, view.MaxLimit)
	if err != nil {
		return nil, err
	}
	var labs []Lab
	for i := range rows {
		id, err := r.Agents.Resolve(ctx, rows[i].Lab)
		if err != nil {
			return nil, err
		}
		if !sc.Allows(id) {
			continue
		}
		at := slices.IndexFunc(labs, func(l Lab) bool { return l.ID == id })
		if at < 0 {
			labs, at = append(labs, Lab{ID: id}), len(labs)
		}
		labs[at].add(&rows[i])
	}
	slices.SortFunc(labs, func(a, b Lab) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), slices.Compare(a.ID[:], b.ID[:]))
	})
	return labs, nil
}

func (l *Lab) add(row *view.LabRow) {
	if row.Lab == l.ID {
		l.Name = row.Name
	}
	l.Shots += row.Shots
	l.ToAssign += row.ToAssign
	l.Quarantine += row.Quarantine
	l.SeenAgain += row.Sightings
}

// Title is the lab's name, or its id when it has none.
func (l *Lab) Title() string { return cmp.Or(l.Name, l.ID.String()) }

// Names gives the names of labs by any of their ids, as long as one reader works.
type Names struct {
	agents *enrol.Registry
	labs   []Lab
	known  map[record.LabID]*Lab
}

// Names prepares to name the labs of a scope.
func (r *Roster) Names(ctx context.Context, sc scope.Scope) (*Names, error) {
	labs, err := r.Labs(ctx, sc)
	if err != nil {
		return nil, err
	}
	n := &Names{agents: r.Agents, labs: labs, known: map[record.LabID]*Lab{}}
	for i := range labs {
		n.known[labs[i].ID] = &labs[i]
	}
	return n, nil
}

// All lists the labs by name.
func (n *Names) All() []Lab { return n.labs }

// Lab gives the lab that a record's lab stands for; nil outside the scope.
func (n *Names) Lab(ctx context.Context, id record.LabID) (*Lab, error) {
	if l, ok := n.known[id]; ok {
		return l, nil
	}
	real, err := n.agents.Resolve(ctx, id)
	if err != nil {
		return nil, err
	}
	n.known[id] = n.known[real]
	return n.known[id], nil
}

// Of names a record's lab, "" outside the scope.
func (n *Names) Of(ctx context.Context, id record.LabID) (string, error) {
	l, err := n.Lab(ctx, id)
	if l == nil || err != nil {
		return "", err
	}
	return l.Title(), nil
}

// Place is one lab of a caller's scope.
type Place struct {
	ID    record.LabID   // the real lab
	IDs   []record.LabID // with its aliases
	Scope scope.Scope    // these, and nothing else
}

// Find gives the lab of an id as typed into an address. What is no lab, and
// what lies outside the scope, is answered alike: not found.
func (r *Roster) Find(ctx context.Context, sc scope.Scope, text string) (Place, error) {
	id, err := uuid.Parse(text)
	if err != nil || !sc.Allows(id) || id == uuid.Nil {
		return Place{}, noLab()
	}
	real, err := r.Agents.Resolve(ctx, id)
	if err != nil {
		return Place{}, err
	}
	rows, err := r.Views.Labs(ctx, scope.Labs(id), 1)
	if err != nil {
		return Place{}, err
	}
	if real != id || len(rows) == 0 {
		return Place{}, noLab()
	}
	all, err := r.Agents.Expand(ctx, id)
	return Place{ID: id, IDs: all, Scope: sc.Only(all...)}, err
}

func noLab() error {
	return problem.New(problem.NotFound, "There is no such lab.", "Choose a lab from the list of labs.")
}

// Package scope says which labs a caller may see. Every read of a view takes a
// Scope, and nothing else decides: what lies outside it is answered as if it
// did not exist.
package scope

import (
	"bytes"
	"slices"

	"thudbook/sync/record"
)

// Scope is a set of labs. The zero Scope holds none, so a forgotten Scope shows
// nothing. A lab that once went by another id is given by all of its ids.
type Scope struct {
	all  bool
	labs []record.LabID // sorted, each once; never handed out
}

// All is every lab: what the owner of a store sees in it.
func All() Scope { return Scope{all: true} }

// Labs is the given labs; the zero id names no lab and is left out.
func Labs(ids ...record.LabID) Scope {
	s := Scope{labs: make([]record.LabID, 0, len(ids))}
	for _, id := range ids {
		if id != (record.LabID{}) {
			s.labs = append(s.labs, id)
		}
	}
	slices.SortFunc(s.labs, compare)
	s.labs = slices.Compact(s.labs)
	return s
}

// Allows says whether the lab may be seen.
func (s Scope) Allows(lab record.LabID) bool {
	if s.all {
		return true
	}
	_, ok := slices.BinarySearchFunc(s.labs, lab, compare)
	return ok
}

// Only narrows the scope to the given labs: never wider than before.
func (s Scope) Only(ids ...record.LabID) Scope {
	n := Labs(ids...)
	if s.all {
		return n
	}
	n.labs = slices.DeleteFunc(n.labs, func(id record.LabID) bool { return !s.Allows(id) })
	return n
}

// List gives the labs in ascending order of their ids; every is true when the
// scope is not limited, and the list is then nil.
func (s Scope) List() (labs []record.LabID, every bool) {
	if s.all {
		return nil, true
	}
	return slices.Clone(s.labs), false
}

// Equal says that both hold the same labs.
func (s Scope) Equal(o Scope) bool { return s.all == o.all && slices.Equal(s.labs, o.labs) }

// Empty says that nothing may be seen.
func (s Scope) Empty() bool { return !s.all && len(s.labs) == 0 }

func compare(a, b record.LabID) int { return bytes.Compare(a[:], b[:]) }

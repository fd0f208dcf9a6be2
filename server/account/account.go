// Package account keeps the people of a server: who they are, which labs they
// may see, how they prove it. Names and password hashes stay in tables of their
// own and never enter the ledger, which lives for ever; the ledger has the bare
// fact that an account was made or changed, by id.
package account

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Role says what a person may do within a lab. Each role includes the ones before it.
type Role string

// The roles.
const (
	Operator    Role = "operator"    // sees the lab's shots, equipment and campaigns
	Manager     Role = "manager"     // keeps equipment and campaigns, enrols agents
	Coordinator Role = "coordinator" // reads several labs; keeps their campaigns
)

func (r Role) rank() int {
	switch r {
	case Operator:
		return 1
	case Manager, Coordinator:
		return 2
	}
	return 0
}

// Grant is a role within one lab.
type Grant struct {
	Lab  record.LabID `json:"lab"`
	Role Role         `json:"role"`
}

// Account is one person. Without a grant an account sees no lab at all.
type Account struct {
	ID            uuid.UUID `json:"id"`
	Login         string    `json:"login"`
	Name          string    `json:"name"`
	Hash          string    `json:"hash"`
	Administrator bool      `json:"administrator"`
	Grants        []Grant   `json:"grants"`
	Disabled      bool      `json:"disabled"`
	Created       time.Time `json:"created"`
}

// Principal is a signed-in person, as every read and write sees them.
type Principal struct {
	ID            uuid.UUID
	Login         string
	Name          string
	Administrator bool
	Roles         map[record.LabID]Role
}

// Labs lists the labs that the person has a role in, in a fixed order.
func (p Principal) Labs() []record.LabID {
	var labs []record.LabID
	for l := range p.Roles {
		labs = append(labs, l)
	}
	slices.SortFunc(labs, func(a, b record.LabID) int { return slices.Compare(a[:], b[:]) })
	return labs
}

// MayKeep reports whether the person may change a lab's equipment and campaigns.
func (p Principal) MayKeep(lab record.LabID) bool {
	return p.Administrator || p.Roles[lab].rank() >= Manager.rank()
}

// MayBook reports whether the person may book a lab's rigs: with any role in it.
func (p Principal) MayBook(lab record.LabID) bool {
	return p.Administrator || p.Roles[lab].rank() > 0
}

// Author is the id that goes into records.
func (p Principal) Author() string { return p.ID.String() }

// KeepScope gives the labs that the person may change.
func (p Principal) KeepScope() scope.Scope {
	if p.Administrator {
		return scope.All()
	}
	return scope.Labs(slices.DeleteFunc(p.Labs(), func(l record.LabID) bool { return !p.MayKeep(l) })...)
}

// Scope gives the labs that the person may read: all of them for an
// administrator, none without a role.
func (p Principal) Scope() scope.Scope {
	if p.Administrator {
		return scope.All()
	}
	return scope.Labs(p.Labs()...)
}

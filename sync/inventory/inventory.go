// Package inventory writes facts about equipment, and the plans of campaigns,
// after holding them against what a lab has on record: no fact about an item
// that is not there, no serial number twice, no item in two places at once.
// Server and agent keep the same rules by it.
package inventory

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Confirm says that a person was shown the doubts about a fact and says that it
// is right. What cannot be right is refused all the same.
type Confirm bool

// Fact is one fact to be written for a lab.
type Fact struct {
	Lab       record.LabID
	Author    string
	About     uuid.UUID // the document; zero: the fact is a document of its own
	Body      lab.Body
	Confirmed Confirm
	// AskMoves asks before an item that sits at one place is put at another.
	AskMoves bool
}

// Record checks a fact against what a scope has on record and writes it, in one
// step. It gives the id of the document. What is refused is a problem, or
// several joined, whose place names the field.
func Record(ctx context.Context, l *ledger.Ledger, v *view.Reader, only scope.Scope, f Fact) (id uuid.UUID, err error) {
	_, err = l.AppendWith(ctx, f.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		d, err := Draft(ctx, view.Within(v, tx), only, f)
		id = d.UID
		return []ledger.Draft{d}, err
	})
	return id, err
}

// Draft checks a fact as Record does, and makes its record for a transaction
// that v sees.
func Draft(ctx context.Context, v *view.Reader, only scope.Scope, f Fact) (d ledger.Draft, err error) {
	d = ledger.Draft{Author: f.Author, UID: f.About}
	if d.Kind, d.Schema, d.Body, err = lab.Encode(f.Body); err != nil {
		return d, err
	}
	if d.UID == uuid.Nil {
		if d.UID, err = uuid.NewV7(); err != nil {
			return d, err
		}
	}
	return d, (&checker{v: v, only: only, confirmed: f.Confirmed, askMoves: f.AskMoves}).check(ctx, f.Body)
}

// checker holds a fact against the records of a scope.
type checker struct {
	v         *view.Reader
	only      scope.Scope
	confirmed Confirm
	askMoves  bool
}

func (k *checker) check(ctx context.Context, body lab.Body) error {
	if err := k.known(ctx, body); err != nil {
		return err
	}
	return k.fits(ctx, body)
}

// EveryItem calls each for the items of a class, "" for all.
func EveryItem(ctx context.Context, v *view.Reader, only scope.Scope, class string, each func(*view.ItemRow) error) error {
	for page := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := v.Items(ctx, only, class, page)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			if err := each(&list.Rows[i]); err != nil {
				return err
			}
		}
		if list.Next == "" {
			return nil
		}
		page.After = list.Next
	}
}

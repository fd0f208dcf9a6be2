package people_test

import (
	"bytes"
	"io"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/people"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

func open(t *testing.T) (*people.Book, *ledgertest.Ledger) {
	views := view.New()
	l := ledgertest.Open(t, ledgertest.Options{Views: views})
	return &people.Book{Ledger: l.Ledger, Blobs: func(record.LabID) blob.Store { return l.Blobs }, Views: views.Reader(l.Store)}, l
}

var here = labtest.ID("lab")

func TestNamesStandOnCardsOnly(t *testing.T) {
	b, l := open(t)
	id, err := b.Add(t.Context(), here, scope.All(), "  Wilma   Quill ", "4711", "operator")
	if err != nil {
		t.Fatal(err)
	}
	p, err := b.Find(t.Context(), scope.All(), id)
	if err != nil || p.Name != "Wilma Quill" || !p.OnList() {
		t.Fatalf("%+v, %v", p, err)
	}
	for pin, want := range map[string]bool{"4711": true, "4712": false, "": false, strings.Repeat("4", 5000): false} {
		if ok, err := b.Check(&p, pin); ok != want || err != nil {
			t.Errorf("PIN of %d digits: %t, %v", len(pin), ok, err)
		}
	}
	for r, err := range l.All(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(r.Raw, []byte("Quill")) || bytes.Contains(r.Raw, []byte("argon")) {
			t.Errorf("record %d holds a name or a PIN's hash", r.Seq)
		}
	}
	row, err := b.Views.Person(t.Context(), scope.All(), id)
	if err != nil {
		t.Fatal(err)
	}
	f, _, err := b.Blobs(here).Open(t.Context(), row.Card)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if card, err := io.ReadAll(f); err != nil || !bytes.Contains(card, []byte("Wilma Quill")) || bytes.Contains(card, []byte("4711")) {
		t.Errorf("the card is %q, %v", card, err)
	}
}

func TestListOfPeople(t *testing.T) {
	b, _ := open(t)
	add := func(name, pin string) uuid.UUID {
		t.Helper()
		id, err := b.Add(t.Context(), here, scope.All(), name, pin, "operator")
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	wilma, ann := add("Wilma Quill", "4711"), add("Ann Brook", "5508")
	for name, tc := range map[string]struct {
		name, pin, where string
		code             problem.Code
	}{
		"name taken":     {"wilma  quill", "9182", "name", problem.Conflict},
		"no name":        {" ", "9182", "name", problem.Invalid},
		"long name":      {strings.Repeat("x", people.MaxName+1), "9182", "name", problem.Invalid},
		"short PIN":      {"Carl Dune", "918", "pin", problem.Invalid},
		"letters":        {"Carl Dune", "91a2", "pin", problem.Invalid},
		"no PIN":         {"Carl Dune", "", "pin", problem.Invalid},
		"all the same":   {"Carl Dune", "8888", "pin", problem.Invalid},
		"counting up":    {"Carl Dune", "3456", "pin", problem.Invalid},
		"other numerals": {"Carl Dune", "٤٧١١", "pin", problem.Invalid},
	} {
		_, err := b.Add(t.Context(), here, scope.All(), tc.name, tc.pin, "operator")
		if p, ok := problem.As(err); !ok || p.Code != tc.code || p.Where != tc.where {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := b.SetPIN(t.Context(), scope.All(), wilma, "2580", "operator"); err != nil {
		t.Fatal(err)
	}
	p, err := b.Find(t.Context(), scope.All(), wilma)
	if err != nil {
		t.Fatal(err)
	}
	if ok, _ := b.Check(&p, "4711"); ok {
		t.Error("the old PIN still holds")
	}
	if ok, err := b.Check(&p, "2580"); !ok {
		t.Errorf("the new PIN does not hold: %v", err)
	}

	for range 2 { // the second changes nothing
		if err := b.SetOnList(t.Context(), scope.All(), wilma, false, "left the lab", "operator"); err != nil {
			t.Fatal(err)
		}
	}
	all, err := b.List(t.Context(), scope.All())
	if err != nil || len(all) != 2 || all[0].ID != ann || all[1].OnList() || all[1].Withdrawn.Reason != "left the lab" {
		t.Fatalf("%+v, %v", all, err)
	}
	if ok, _ := b.Check(&all[1], "2580"); ok {
		t.Error("who was withdrawn still gets in")
	}
	second := add("Wilma Quill", "7093") // the name is free again
	if err := b.SetOnList(t.Context(), scope.All(), wilma, true, "back", "operator"); problem.Of(err) != problem.Conflict {
		t.Errorf("two of one name: %v", err)
	}
	if err := b.SetOnList(t.Context(), scope.All(), second, false, "slip", "operator"); err != nil {
		t.Fatal(err)
	}
	if err := b.SetOnList(t.Context(), scope.All(), wilma, true, "back", "operator"); err != nil {
		t.Error(err)
	}
	if err := b.SetPIN(t.Context(), scope.Labs(labtest.ID("another lab")), wilma, "2469", "operator"); problem.Of(err) != problem.NotFound {
		t.Errorf("another lab's person: %v", err)
	}
	names, err := b.Names(t.Context(), scope.All())
	if err != nil || names(ann.String()) != "Ann Brook" || names("node") != "" {
		t.Errorf("%q, %v", names(ann.String()), err)
	}
}

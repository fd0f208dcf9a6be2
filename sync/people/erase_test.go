package people_test

import (
	"bytes"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/people"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

func TestErase(t *testing.T) {
	b, l := open(t)
	ctx := t.Context()
	wilma, err := b.Add(ctx, here, scope.All(), "Wilma Quill", "4711", "operator")
	if err != nil {
		t.Fatal(err)
	}
	ann, err := b.Add(ctx, here, scope.All(), "Ann Brook", "5508", "operator")
	if err != nil {
		t.Fatal(err)
	}
	if err := b.SetPIN(ctx, scope.All(), wilma, "2580", "operator"); err != nil {
		t.Fatal(err)
	}
	row, err := b.Views.Person(ctx, scope.All(), wilma)
	if err != nil || len(row.Cards) != 2 {
		t.Fatalf("%+v, %v", row, err)
	}
	if err := b.Erase(ctx, scope.All(), wilma, "Ann Brook", "asked for it", "operator"); problem.Of(err) != problem.Invalid {
		t.Fatalf("another name confirms: %v", err)
	}
	for range 2 { // the second changes nothing
		if err := b.Erase(ctx, scope.All(), wilma, "wilma quill", "asked for it", "operator"); err != nil {
			t.Fatal(err)
		}
	}
	for _, h := range row.Cards {
		if has, _, err := l.Blobs.Has(ctx, h); has || err != nil {
			t.Errorf("card %s is there: %t, %v", h, has, err)
		}
	}
	p, err := b.Find(ctx, scope.All(), wilma)
	if err != nil || p.Name != "" || p.OnList() || p.Shown() != people.ErasedName {
		t.Errorf("%+v, %v", p, err)
	}
	if ok, _ := b.Check(&p, "2580"); ok {
		t.Error("who was erased still gets in")
	}
	if other, err := b.Find(ctx, scope.All(), ann); err != nil || other.Name != "Ann Brook" {
		t.Errorf("%+v, %v", other, err)
	}
	if err := b.SetOnList(ctx, scope.All(), wilma, false, "x", "operator"); problem.Of(err) != problem.Conflict {
		t.Errorf("an erased person is withdrawn: %v", err)
	}
	if _, err := b.Add(ctx, here, scope.All(), "Wilma Quill", "7093", "operator"); err != nil {
		t.Errorf("the name is not free again: %v", err)
	}
}

// Bytes that a record only calls a card stay when the person is erased.
func TestEraseRemovesNothingButCards(t *testing.T) {
	b, l := open(t)
	shot := []byte(`{"time_s": [0, 0.001], "force_N": [0, 12]}`)
	ref, err := l.Blobs.Put(t.Context(), bytes.NewReader(shot), 0)
	if err != nil {
		t.Fatal(err)
	}
	who := uuid.New()
	for _, body := range []lab.Body{&lab.Person{CardSHA256: ref.SHA256}, &lab.PersonErased{Person: who, Reason: "asked for it"}} {
		kind, schema, raw, err := lab.Encode(body)
		if err != nil {
			t.Fatal(err)
		}
		d := ledger.Draft{Kind: kind, Schema: schema, Author: "operator", UID: who, Body: raw}
		if kind == lab.KindPerson {
			d.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RolePerson, Media: "application/json"}}
		}
		if _, err := b.Ledger.Append(t.Context(), here, d); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Sweep(t.Context()); err != nil {
		t.Fatal(err)
	}
	if has, _, err := l.Blobs.Has(t.Context(), ref.SHA256); !has || err != nil {
		t.Errorf("the shot's bytes: %t, %v", has, err)
	}
}

package record_test

import (
	"bytes"
	"crypto/sha256"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Any record comes out of its carriers as it went in, and every carrier fits
// into a record, attachments and all.
func TestCarriedRecordsComeBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		e := record.Envelope{Node: uuid.New(), Lab: uuid.New(), Epoch: 2, Seq: 7, Prev: record.Hash{1}, Kind: "lab.shot", Schema: 1,
			Author: "p1", UID: uuid.New(), Body: bytes.Repeat([]byte{7}, rapid.SampledFrom([]int{0, 10, 14_000, 16_000, 30_000}).Draw(rt, "body"))}
		for i := range rapid.SampledFrom([]int{0, 1, 3, 40, 128}).Draw(rt, "attachments") {
			sum := sha256.Sum256([]byte{byte(i)})
			e.Attachments = append(e.Attachments, record.Attachment{SHA256: sum, Size: int64(i), Role: "photo", Media: "image/jpeg",
				Name: string(bytes.Repeat([]byte("n"), rapid.SampledFrom([]int{0, 20, 150}).Draw(rt, "name")))})
		}
		r, err := record.Seal(e)
		if err != nil {
			if problem.Of(err) != problem.TooLarge {
				rt.Fatal(err)
			}
			return
		}
		carriers, err := record.Carry(&r, 4, record.Hash{9})
		if err != nil || len(carriers) == 0 {
			rt.Fatalf("%d carriers, %v", len(carriers), err)
		}
		var raw []byte
		var attached []record.Attachment
		var last record.Record
		var h record.Rehomed
		for i, c := range carriers {
			body, err := record.EncodeBody(c.Body)
			if err != nil {
				rt.Fatal(err)
			}
			last, err = record.Seal(record.Envelope{Node: r.Node, Lab: r.Lab, Epoch: 3, Seq: uint64(i) + 2, Prev: record.Hash{3}, Kind: record.KindRehomed,
				Schema: 1, Author: r.Author, UID: r.UID, Body: body, Attachments: c.Attachments})
			if err != nil {
				rt.Fatalf("carrier %d of %d: %v", i, len(carriers), err)
			}
			if err := record.DecodeBody(last.Body, &h); err != nil {
				rt.Fatal(err)
			}
			if err := h.Check(&last); err != nil || h.Part != uint(i) {
				rt.Fatalf("carrier %d calls itself %d, %v", i, h.Part, err)
			}
			raw, attached = append(raw, h.Raw...), append(attached, last.Attachments...)
		}
		back, err := h.Open(&last, raw)
		if err != nil || !bytes.Equal(back.Raw, r.Raw) || back.Branch == 0 || len(attached) != len(r.Attachments) {
			rt.Fatalf("came back with %d of %d bytes and %d of %d attachments, %v", len(back.Raw), len(r.Raw), len(attached), len(r.Attachments), err)
		}
		bad := bytes.Clone(raw)
		bad[len(bad)/2] ^= 1
		if _, err := h.Open(&last, bad); err == nil {
			rt.Fatal("a changed record was taken")
		}
		other := last
		other.Lab = uuid.New()
		if _, err := h.Open(&other, raw); err == nil {
			rt.Fatal("a record of another lab was taken")
		}
	})
}

// A carrier that cannot be right is refused, and so are bytes that are not the
// record which it names.
func TestCarriersThatCannotBeRight(t *testing.T) {
	node, lab := uuid.New(), uuid.New()
	seal := func(epoch uint32, seq uint64, kind record.Kind) record.Record {
		t.Helper()
		r, err := record.Seal(record.Envelope{Node: node, Lab: lab, Epoch: epoch, Seq: seq, Prev: record.Hash{1}, Kind: kind, Schema: 1, Author: "p1", Body: []byte{0xa0}})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r, carrier := seal(2, 7, "lab.note"), seal(3, 4, record.KindRehomed)
	good := record.Rehomed{Epoch: 2, Seq: 7, Hash: r.Hash, After: 4, Branch: record.Hash{9}, Parts: 1}
	if err := good.Check(&carrier); err != nil {
		t.Fatal(err)
	}
	if _, err := good.Open(&carrier, r.Raw); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*record.Rehomed){
		"no epoch":                func(h *record.Rehomed) { h.Epoch = 0 },
		"the carrier's epoch":     func(h *record.Rehomed) { h.Epoch = 3 },
		"a later epoch":           func(h *record.Rehomed) { h.Epoch = 4 },
		"a shared place":          func(h *record.Rehomed) { h.After = 7 },
		"before the shared place": func(h *record.Rehomed) { h.After = 8 },
		"no hash":                 func(h *record.Rehomed) { h.Hash = record.Hash{} },
		"no branch":               func(h *record.Rehomed) { h.Branch = record.Hash{} },
		"no parts":                func(h *record.Rehomed) { h.Parts = 0 },
		"a part beyond the last":  func(h *record.Rehomed) { h.Part = 1 },
	} {
		h := good
		change(&h)
		if err := h.Check(&carrier); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: Check = %v", name, err)
		}
	}
	for name, other := range map[string]record.Record{
		"another epoch": seal(1, 7, "lab.note"), "another place": seal(2, 8, "lab.note"), "a carrier": seal(2, 7, record.KindRehomed), "a genesis": seal(2, 7, record.KindGenesis),
	} {
		h := good
		h.Hash = other.Hash
		if _, err := h.Open(&carrier, other.Raw); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: Open = %v", name, err)
		}
	}
	if _, err := good.Open(&carrier, carrier.Raw); problem.Of(err) != problem.Invalid {
		t.Errorf("other bytes: Open = %v", err)
	}
}

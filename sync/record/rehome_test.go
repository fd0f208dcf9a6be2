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

package view_test

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// carry gives the records that carry one out of a second history which begins
// after record 2 of its origin.
func carry(t tb, r record.Record, epoch uint32, firstSeq uint64) []record.Record {
	t.Helper()
	e := r.Envelope
	e.Seq += 2
	e.Prev = record.Hash{1}
	sealed, err := record.Seal(e)
	if err != nil {
		t.Fatalf("seal: %v", err)
	}
	carriers, err := record.Carry(&sealed, 2, record.Hash{7, 7})
	if err != nil {
		t.Fatalf("carry: %v", err)
	}
	var out []record.Record
	for i, c := range carriers {
		body, err := record.EncodeBody(c.Body)
		if err != nil {
			t.Fatalf("encode: %v", err)
		}
		out = append(out, record.Record{Envelope: record.Envelope{Version: 1, Node: r.Node, Lab: r.Lab, Epoch: epoch, Seq: firstSeq + uint64(i),
			Clock: r.Clock + 1000, Kind: record.KindRehomed, Schema: 1, Author: r.Author, UID: r.UID, Body: body}})
	}
	return out
}

// Carried records may come in any order, and carried twice: every table has the
// same bytes, and nothing counts twice.
func TestCarriedInAnyOrder(t *testing.T) {
	worlds := []*world{openWorld(t), openWorld(t)}
	rapid.Check(t, func(rt *rapid.T) {
		for _, w := range worlds {
			w.empty(rt)
		}
		var once, twice []record.Record
		for i, r := range drawRecords(rt, worlds[0]) {
			if rapid.Bool().Draw(rt, "carried") {
				c := carry(rt, r, 2, uint64(100*i+2))
				once = append(once, c...)
				twice = append(twice, carry(rt, r, 3, uint64(100*i+2))...)
				continue
			}
			once = append(once, r)
		}
		worlds[0].together(once)
		seed := rapid.Uint64().Draw(rt, "order")
		shuffled := slices.Concat(once, twice)
		rand.New(rand.NewPCG(seed, 0)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		worlds[1].together(shuffled)
		same(rt, worlds[0], worlds[1])
	})
}

// A record so large that it is carried in parts, and that cannot be used,
// carried into two epochs: however the parts come, it stands once on the list of
// such records.
func TestUnusablePartsInAnyOrder(t *testing.T) {
	worlds := []*world{openWorld(t), openWorld(t)}
	r := worlds[0].stated(node1, labA, 2000, labtest.ID("large"), &lab.Note{Text: "x"})
	r.Body = bytes.Repeat([]byte{0x41}, record.MaxBytes-400) // no CBOR of a note
	two, three := carry(t, r, 2, 2), carry(t, r, 3, 2)
	if len(two) < 2 {
		t.Fatalf("%d carriers, want parts", len(two))
	}
	all := slices.Concat(two, three)
	rng := rand.New(rand.NewPCG(7, 7))
	for range 20 {
		worlds[0].empty(t)
		worlds[1].empty(t)
		worlds[0].together(all)
		shuffled := slices.Clone(all)
		rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		worlds[1].together(shuffled)
		same(t, worlds[0], worlds[1])
	}
	odd, err := worlds[0].Odd(worlds[0].ctx(), onlyA, 10)
	if err != nil || len(odd) != 1 {
		t.Errorf("%d records on the list, %v, want 1", len(odd), err)
	}
}

// Edits of both histories are seen as made without sight of each other, though
// they stand at the same places under one name; the next edit settles them.
func TestCarriedEditsMeetThoseInTheirPlaces(t *testing.T) {
	w := openWorld(t)
	id := labtest.ID("shot")
	w.say(id, labtest.Shot(rig1, labtest.Start()))
	w.say(labtest.ID("other shot"), labtest.Shot(rig1, labtest.Start()))
	stays := edit(t, w, node1, id, "helmet_serial", "S-1") // record 3 of the history that won
	lost, err := lab.NewEdit(id, lab.KindShot, "helmet_serial", "S-2")
	if err != nil {
		t.Fatal(err)
	}
	then, err := lab.NewEdit(id, lab.KindShot, "helmet_serial", "S-3", stays) // its writer saw S-2 at that place, not S-1
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range []*lab.FieldEdit{lost, then} {
		r := w.stated(node1, labA, 2000, id, e)
		r.Seq = uint64(i) + 1 // carry puts them behind record 2
		w.apply(carry(t, r, 2, uint64(i)+2)...)
	}
	s, err := w.Shot(w.ctx(), onlyA, id)
	if err != nil {
		t.Fatal(err)
	}
	got := s.Edited["helmet_serial"]
	if got.Value != "S-3" || len(got.Others) != 1 || got.Others[0].Value != "S-1" {
		t.Errorf("%+v, want S-3 beside S-1", got)
	}
	if u := s.Unsettled(lab.KindShot); !slices.Equal(u, []string{"helmet_serial"}) {
		t.Errorf("a person has to settle %v, want the serial", u)
	}
	edit(t, w, node2, id, "helmet_serial", "S-1", s.Base("helmet_serial")...)
	if s, err = w.Shot(w.ctx(), onlyA, id); err != nil || len(s.Conflicts()) != 0 || s.Shot.HelmetSerial != "S-1" {
		t.Errorf("settled: %v, %q, %v", s.Conflicts(), s.Shot.HelmetSerial, err)
	}
	if labs, err := w.Labs(w.ctx(), scope.All(), 1); err != nil || labs[0].Shots != 2 {
		t.Errorf("%+v, %v, want two shots", labs, err)
	}
}

package record_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

var (
	nodeID = uuid.MustParse("00112233-4455-6677-8899-aabbccddeeff")
	labID  = uuid.MustParse("0f0e0d0c-0b0a-0908-0706-050403020100")
)

func envelope() record.Envelope {
	return record.Envelope{
		Node: nodeID, Lab: labID, Epoch: 1, Seq: 2, Prev: record.Hash{31: 7},
		Clock: 1 << 40, WallNS: -5, Kind: "shot", Schema: 1, Author: "node", UID: [16]byte{15: 9},
		Body: []byte{0xa0},
		Attachments: []record.Attachment{
			{SHA256: record.Hash{0: 1}, Size: 300, Role: "source", Media: "text/csv", Name: "a.csv"},
			{SHA256: record.Hash{0: 2}, Size: 0, Role: "map", Media: "application/toml"},
		},
	}
}

// byHand is the envelope above, put together by hand from RFC 8949: major type
// in the top three bits, shortest lengths, map keys in ascending order.
func byHand() []byte {
	hash := func(first, last byte) string {
		return "5820" + hex.EncodeToString([]byte{first}) + strings.Repeat("00", 30) + hex.EncodeToString([]byte{last})
	}
	text := func(s string) string {
		head := []byte{0x60 + byte(len(s))}
		return hex.EncodeToString(append(head, s...))
	}
	all := strings.Join([]string{
		"ae",   // map of 14
		"0101", // 1: version 1
		"0250" + "00112233445566778899aabbccddeeff",
		"0350" + "0f0e0d0c0b0a09080706050403020100",
		"0401", "0502", // epoch 1, seq 2
		"06" + hash(0, 7),
		"071b0000010000000000", // clock 2^40
		"0824",                 // wall -5: major type 1, 4
		"09" + text("shot"), "0a01", "0b" + text("node"),
		"0c50" + strings.Repeat("00", 15) + "09",
		"0d41a0", // body: one byte
		"0e82",   // two attachments
		"a5", "01" + hash(1, 0), "0219012c", "03" + text("source"), "04" + text("text/csv"), "05" + text("a.csv"),
		"a4", "01" + hash(2, 0), "0200", "03" + text("map"), "04" + text("application/toml"),
	}, "")
	b, err := hex.DecodeString(all)
	if err != nil {
		panic(err)
	}
	return b
}

func TestBytesAreThoseOfTheFormat(t *testing.T) {
	r, err := record.Seal(envelope())
	if err != nil {
		t.Fatal(err)
	}
	if want := byHand(); !bytes.Equal(r.Raw, want) {
		t.Errorf("Seal gives\n%x, want (by hand from RFC 8949, 4.2)\n%x", r.Raw, want)
	}
	if want := record.Hash(sha256.Sum256(append([]byte("\x00rec1"), r.Raw...))); r.Hash != want {
		t.Errorf("hash %s, want %s", r.Hash, want)
	}
	again, err := record.Parse(r.Raw)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(r, again); d != "" {
		t.Errorf("Parse gives another record: %s", d)
	}
}

func TestSealRefuses(t *testing.T) {
	for name, change := range map[string]func(*record.Envelope){
		"no node":              func(e *record.Envelope) { e.Node = [16]byte{} },
		"epoch zero":           func(e *record.Envelope) { e.Epoch = 0 },
		"seq zero":             func(e *record.Envelope) { e.Seq = 0 },
		"first with a prev":    func(e *record.Envelope) { e.Seq = 1 },
		"later without a prev": func(e *record.Envelope) { e.Prev = record.Hash{} },
		"no kind":              func(e *record.Envelope) { e.Kind = "" },
		"long kind":            func(e *record.Envelope) { e.Kind = record.Kind(strings.Repeat("k", 65)) },
		"kind that is no text": func(e *record.Envelope) { e.Kind = "\xff" },
		"no author":            func(e *record.Envelope) { e.Author = "" },
		"many attachments":     func(e *record.Envelope) { e.Attachments = make([]record.Attachment, 129) },
		"attachment unhashed":  func(e *record.Envelope) { e.Attachments[0].SHA256 = record.Hash{} },
		"negative size":        func(e *record.Envelope) { e.Attachments[0].Size = -1 },
		"long name":            func(e *record.Envelope) { e.Attachments[0].Name = strings.Repeat("n", 256) },
	} {
		e := envelope()
		change(&e)
		if _, err := record.Seal(e); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: Seal = %v", name, err)
		}
	}
}

func TestSizeLimitIsExact(t *testing.T) {
	e := envelope()
	e.Body = nil
	r, err := record.Seal(e)
	if err != nil {
		t.Fatal(err)
	}
	// The empty body takes one byte of length, a large one three.
	room := record.MaxBytes - len(r.Raw) - 2
	e.Body = make([]byte, room)
	if r, err = record.Seal(e); err != nil || len(r.Raw) != record.MaxBytes {
		t.Fatalf("a record of %d bytes: %v", len(r.Raw), err)
	}
	if _, err := record.Parse(r.Raw); err != nil {
		t.Errorf("Parse of it = %v", err)
	}
	e.Body = make([]byte, room+1)
	if _, err := record.Seal(e); problem.Of(err) != problem.TooLarge {
		t.Errorf("one byte more: %v", err)
	}
	if _, err := record.Parse(append(r.Raw, 0)); problem.Of(err) != problem.TooLarge {
		t.Errorf("Parse of one byte more: %v", err)
	}
}

// Every other way to write the same content must be refused, or two byte
// strings would claim to be one record.
func TestParseIsStrict(t *testing.T) {
	good := byHand()
	edit := func(old, with string) []byte {
		o, err1 := hex.DecodeString(old)
		w, err2 := hex.DecodeString(with)
		if err := errors.Join(err1, err2); err != nil || bytes.Count(good, o) != 1 {
			t.Fatalf("edit %s: %v, %d places", old, err, bytes.Count(good, o))
		}
		return bytes.Replace(good, o, w, 1)
	}
	for name, raw := range map[string][]byte{
		"nothing":                  nil,
		"an array":                 {0x80},
		"cut short":                good[:len(good)-1],
		"a byte behind":            append(bytes.Clone(good), 0),
		"long form of a number":    edit("04010502", "0418010502"),
		"keys out of order":        edit("04010502", "05020401"),
		"a key twice":              edit("04010502", "04010401"),
		"indefinite map":           append(append([]byte{0xbf}, good[1:]...), 0xff),
		"indefinite body":          edit("0d41a0", "0d5f41a0ff"),
		"text for the body":        edit("0d41a0", "0d6141"),
		"a tag":                    edit("04010502", "04c1010502"),
		"short node":               edit("025000112233445566778899aabbccddeeff", "024f00112233445566778899aabbccddee"),
		"long node":                edit("025000112233445566778899aabbccddeeff", "025100112233445566778899aabbccddeeff00"),
		"float for a number":       edit("04010502", "04f93c000502"),
		"no kind":                  edit("096473686f74", "0960"),
		"text that is not UTF-8":   edit("096473686f74", "0961ff"),
		"null for the attachments": append(append([]byte{}, good[:bytes.Index(good, []byte{0x0e, 0x82})]...), 0x0e, 0xf6),
		"a negative epoch":         edit("04010502", "04200502"),
		"a huge epoch":             edit("04010502", "041b00000001000000000502"),
	} {
		if _, err := record.Parse(raw); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: Parse = %v", name, err)
		}
	}
}

// I8: keys that a later version adds are kept and hashed, not understood.
func TestParseKeepsWhatItDoesNotKnow(t *testing.T) {
	good := byHand()
	later := append([]byte{good[0] + 2}, good[1:]...)
	later = append(later, 0x0f, 0x01)                      // 15: 1
	later = append(later, 0x18, 0x20, 0x63, 'n', 'e', 'w') // 32: "new"
	later[2] = 2                                           // version 2
	r, err := record.Parse(later)
	if err != nil {
		t.Fatalf("Parse = %v", err)
	}
	if r.Version != 2 || r.Kind != "shot" || !bytes.Equal(r.Raw, later) || r.Hash != record.HashOf(later) {
		t.Errorf("Parse gives version %d, kind %s, %d bytes", r.Version, r.Kind, len(r.Raw))
	}
	wrong := bytes.Clone(later)
	copy(wrong[len(wrong)-8:], []byte{0x0f, 0x18, 0x01})
	if _, err := record.Parse(wrong); err == nil {
		t.Error("an unknown key in another than the shortest form is accepted")
	}
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		e := record.Envelope{
			Node:  [16]byte(rapid.SliceOfN(rapid.ByteRange(1, 255), 16, 16).Draw(rt, "node")),
			Lab:   [16]byte(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(rt, "lab")),
			Epoch: rapid.Uint32Min(1).Draw(rt, "epoch"), Seq: rapid.Uint64Min(2).Draw(rt, "seq"),
			Prev:   record.Hash(rapid.SliceOfN(rapid.ByteRange(1, 255), 32, 32).Draw(rt, "prev")),
			WallNS: rapid.Int64().Draw(rt, "wall"), Kind: record.Kind(rapid.StringMatching(`[a-z.]{1,64}`).Draw(rt, "kind")),
			Schema: rapid.UintMax(math.MaxUint32).Draw(rt, "schema"), Author: rapid.StringN(1, 32, 128).Draw(rt, "author"),
			Body: rapid.SliceOfN(rapid.Byte(), 1, 200).Draw(rt, "body"),
		}
		r, err := record.Seal(e)
		if err != nil {
			rt.Fatalf("Seal: %v", err)
		}
		again, err := record.Parse(r.Raw)
		if err != nil {
			rt.Fatalf("Parse: %v", err)
		}
		if d := cmp.Diff(r, again); d != "" {
			rt.Fatalf("Parse gives another record: %s", d)
		}
		at, bit := rapid.IntRange(0, len(r.Raw)-1).Draw(rt, "at"), rapid.IntRange(0, 7).Draw(rt, "bit")
		bad := bytes.Clone(r.Raw)
		bad[at] ^= 1 << bit
		if p, err := record.Parse(bad); err == nil && p.Hash == r.Hash {
			rt.Fatalf("a flipped bit at %d leaves the hash as it was", at)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add(byHand())
	f.Add([]byte{})
	f.Add([]byte{0xae, 0x01})
	f.Fuzz(func(t *testing.T, raw []byte) {
		r, err := record.Parse(raw)
		if err != nil {
			if c := problem.Of(err); c != problem.Invalid && c != problem.TooLarge {
				t.Fatalf("Parse = %v, code %s", err, c)
			}
			return
		}
		if !bytes.Equal(r.Raw, raw) || r.Hash != record.HashOf(raw) || r.Seq == 0 || len(raw) > record.MaxBytes {
			t.Fatalf("Parse accepts %x as record %d", raw, r.Seq)
		}
		if r.Version == record.Version {
			if again, err := record.Seal(r.Envelope); err == nil && len(again.Raw) == len(raw) && !bytes.Equal(again.Raw, raw) {
				t.Fatalf("two encodings of one record:\n%x\n%x", raw, again.Raw)
			}
		}
	})
}

func FuzzDecodeBody(f *testing.F) {
	f.Add([]byte{0xa1, 0x64, 'n', 'a', 'm', 'e', 0x61, 'x'})
	f.Fuzz(func(t *testing.T, b []byte) {
		var v body
		if err := record.DecodeBody(b, &v); err != nil && problem.Of(err) != problem.Invalid {
			t.Fatalf("DecodeBody = %v", err)
		}
	})
}

type body struct {
	Name  string         `json:"name"`
	ID    uuid.UUID      `json:"id"`
	At    time.Time      `json:"at"`
	Mass  float64        `json:"mass_kg"`
	Notes []string       `json:"notes,omitempty"`
	Extra map[string]int `json:"extra,omitempty"`
}

func TestBodies(t *testing.T) {
	in := body{Name: "ram", ID: nodeID, At: time.Date(2026, 5, 4, 12, 0, 0, 123456789, time.UTC), Mass: 15.1, Extra: map[string]int{"b": 1, "a": 2, "aa": 3}}
	b, err := record.EncodeBody(in)
	if err != nil {
		t.Fatal(err)
	}
	for range 20 {
		if again, err := record.EncodeBody(in); err != nil || !bytes.Equal(again, b) {
			t.Fatalf("the same body gives other bytes (%v)", err)
		}
	}
	var out body
	if err := record.DecodeBody(b, &out); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(in, out); d != "" {
		t.Errorf("the body changed: %s", d)
	}
	var less struct {
		Name string `json:"name"`
	}
	if err := record.DecodeBody(b, &less); err != nil || less.Name != "ram" {
		t.Errorf("unknown fields: %v, %+v", err, less)
	}
	for name, bad := range map[string][]byte{"nothing": nil, "cut": b[:len(b)-1], "more": append(bytes.Clone(b), 0), "a field twice": {0xa2, 0x61, 'a', 1, 0x61, 'a', 2}} {
		if err := record.DecodeBody(bad, &out); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: DecodeBody = %v", name, err)
		}
	}
}

func TestCheckNext(t *testing.T) {
	h := func(b byte) record.Hash { return record.Hash{0: b} }
	rec := func(seq uint64, prev, hash byte) *record.Record {
		return &record.Record{Envelope: record.Envelope{Seq: seq, Prev: h(prev)}, Hash: h(hash)}
	}
	head := record.Head{Seq: 5, Hash: h(5)}
	for _, tc := range []struct {
		name string
		head record.Head
		r    *record.Record
		want error
	}{
		{"first", record.Head{}, rec(1, 0, 1), nil},
		{"next", head, rec(6, 5, 6), nil},
		{"next of another chain", head, rec(6, 4, 6), record.ErrFork},
		{"one missing", head, rec(7, 6, 7), record.ErrGap},
		{"second of nothing", record.Head{}, rec(2, 1, 2), record.ErrGap},
		{"the head itself", head, rec(5, 4, 5), record.ErrDuplicate},
		{"another head", head, rec(5, 4, 99), record.ErrFork},
		{"an older one", head, rec(3, 2, 3), record.ErrDuplicate},
	} {
		if err := record.CheckNext(tc.head, tc.r); !errors.Is(err, tc.want) || (err == nil) != (tc.want == nil) {
			t.Errorf("%s: CheckNext = %v, want %v", tc.name, err, tc.want)
		}
	}
}

func TestHashText(t *testing.T) {
	h := record.Hash(sha256.Sum256([]byte("abc")))
	// FIPS 180-4 example "abc"; not confirmed against print.
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if h.String() != want {
		t.Errorf("String = %s", h)
	}
	if back, err := record.ParseHash(want); err != nil || back != h {
		t.Errorf("ParseHash = %s, %v", back, err)
	}
	for _, bad := range []string{"", want[1:], want + "00", "zz" + want[2:]} {
		if _, err := record.ParseHash(bad); err == nil {
			t.Errorf("ParseHash(%q) accepts it", bad)
		}
	}
}

// The written format and the code must name the same keys.
func TestFormatNamesEveryKey(t *testing.T) {
	b, err := os.ReadFile("../FORMAT.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []string{"| 1 | version", "| 6 | previous", "| 14 | attachments", "32 768", `0x00 "rec1"`, "node.rehomed", "| branch | bytes, 32", `"head1"`, `"rcpt1"`, `"thudanc1"`} {
		if !strings.Contains(string(b), row) {
			t.Errorf("FORMAT.md does not hold %q", row)
		}
	}
}

package record_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thudbook/sync/record"
)

// agree compares the two ways of reading: what the short way takes, the general
// way takes as the same record.
func agree(t interface{ Fatalf(string, ...any) }, raw []byte) {
	known, ok := record.ParseKnown(raw)
	if !ok {
		return
	}
	fast, err1 := record.Parse(raw)
	slow, err2 := record.ParseAny(raw)
	if (err1 == nil) != (err2 == nil) || err1 != nil && err1.Error() != err2.Error() {
		t.Fatalf("%x: the short way says %v, the general way %v", raw, err1, err2)
	}
	if err1 != nil {
		return
	}
	if d := cmp.Diff(slow, fast); d != "" || cmp.Diff(known, fast.Envelope) != "" {
		t.Fatalf("%x is read in two ways (-general +short):\n%s", raw, d)
	}
}

// Whatever Seal writes is read the short way, and as what it was; with a byte
// changed, put in or taken out both ways still agree.
func TestShortWayAgreesWithTheGeneralOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := envelope()
		e.Version = rapid.Uint().Draw(t, "version")
		e.Epoch = rapid.Uint32Min(1).Draw(t, "epoch")
		e.Seq = rapid.Uint64Min(2).Draw(t, "seq")
		e.WallNS = rapid.Int64().Draw(t, "wall")
		e.Schema = rapid.Uint().Draw(t, "schema")
		e.Author = rapid.StringN(1, 30, 128).Draw(t, "author")
		e.Body = rapid.SliceOfN(rapid.Byte(), 0, 400).Draw(t, "body")
		e.Attachments = e.Attachments[:rapid.IntRange(0, 2).Draw(t, "attachments")]
		r, err := record.Seal(e)
		if err != nil {
			return // not what this is about
		}
		if _, ok := record.ParseKnown(r.Raw); !ok && e.Body != nil {
			t.Fatalf("%x is not read the short way", r.Raw)
		}
		agree(t, r.Raw)
		i := rapid.IntRange(0, len(r.Raw)-1).Draw(t, "at")
		changed := append([]byte(nil), r.Raw...)
		changed[i] = rapid.Byte().Draw(t, "byte")
		agree(t, changed)
		agree(t, append(changed[:i:i], r.Raw[i+1:]...))
		agree(t, append(append(changed[:i:i], changed[i]), r.Raw[i:]...))
		agree(t, r.Raw[:i])
	})
	// Longer encodings of the same numbers, by hand: none of them is taken.
	for at, longer := range map[int][]byte{2: {0x18, 1}, 0: {0xb8, 14}} { // version 1, map of 14
		b := append(append(append([]byte(nil), byHand()[:at]...), longer...), byHand()[at+1:]...)
		if _, ok := record.ParseKnown(b); ok {
			t.Errorf("%x is taken, although it is not the shortest encoding", b)
		}
	}
}

func FuzzShortWay(f *testing.F) {
	f.Add(byHand())
	f.Fuzz(func(t *testing.T, raw []byte) { agree(t, raw) })
}

func BenchmarkParse(b *testing.B) {
	r, err := record.Seal(envelope())
	if err != nil {
		b.Fatal(err)
	}
	for name, parse := range map[string]func([]byte) (record.Record, error){"short": record.Parse, "general": record.ParseAny} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := parse(r.Raw); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

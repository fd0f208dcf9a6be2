package ledger_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	bolt "go.etcd.io/bbolt"

	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// withStore opens the store of a stopped ledger by itself.
func withStore(t *testing.T, l *ledgertest.Ledger, fn func(kv.Store)) {
	t.Helper()
	s, err := boltkv.Open(l.StorePath(), boltkv.Options{})
	if err != nil {
		t.Fatal(err)
	}
	fn(s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func logKey(o record.Origin, seq uint64) []byte {
	return kv.Join(o.Node[:], o.Lab[:], kv.U32(o.Epoch), kv.U64(seq))
}

func dropHead(t *testing.T, s kv.Store, o record.Origin) {
	t.Helper()
	err := s.Update(t.Context(), func(tx kv.Tx) error {
		return tx.Delete(ledger.HeadTable, kv.Join(o.Node[:], o.Lab[:], kv.U32(o.Epoch)))
	})
	if err != nil {
		t.Fatal(err)
	}
}

// flip changes one bit of a stored record, in the file, under bbolt: there is
// no checksum over its pages that would notice.
func flip(t *testing.T, path string, raw []byte, at int) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for i := 0; ; {
		j := bytes.Index(b[i:], raw)
		if j < 0 {
			break
		}
		b[i+j+at] ^= 0x10 // every copy, free pages included
		n++
		i += j + len(raw)
	}
	if n == 0 {
		t.Fatal("the record is not in the file")
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// L8, A1: a flipped bit in a record is found by its sequence number, reading
// stops before it, nothing is removed, and a good copy heals it.
func TestFlippedBitInARecord(t *testing.T) {
	const bad = 7
	for _, where := range []string{"first byte", "middle", "last byte"} {
		t.Run(where, func(t *testing.T) {
			l := ledgertest.Open(t, ledgertest.Options{Views: notes{}})
			for i := range 10 {
				add(t, l, labA, strings.Repeat(fmt.Sprint(i), 50))
			}
			o := l.Own(labA)
			all := chain(t, l, o)
			l.Stop(t)
			raw := all[bad-1].Raw
			flip(t, l.StorePath(), raw, map[string]int{"first byte": 0, "middle": len(raw) / 2, "last byte": len(raw) - 1}[where])
			l.Reopen(t)
			name := fmt.Sprintf("record %d of origin %s", bad, o)
			if n := l.Notices(); len(n) != 1 || !strings.Contains(n[0], name) {
				t.Errorf("notices %q, want one that names %s", n, name)
			}
			report, err := l.Verify(t.Context())
			if err != nil || report.Class() != care.Damaged || len(report.Findings) == 0 || !strings.Contains(report.Findings[0].Text, name) {
				t.Errorf("verify: %v\n%s", err, report)
			}
			page, err := l.Read(t.Context(), o, 0, 1<<20)
			if err != nil || len(page) != bad-1 {
				t.Errorf("Read gives %d records, %v, want the %d before the damage", len(page), err, bad-1)
			}
			if _, err = l.Read(t.Context(), o, bad-1, 1<<20); problem.Of(err) != problem.Damaged || !strings.Contains(err.Error(), name) {
				t.Errorf("Read at the damage = %v", err)
			}
			if page, err = l.Read(t.Context(), o, bad, 1<<20); err != nil || len(page) != len(all)-bad {
				t.Errorf("Read behind the damage gives %d records, %v", len(page), err)
			}
			n := 0
			for _, err := range l.All(t.Context()) {
				if err == nil {
					n++
				} else if problem.Of(err) != problem.Damaged || !strings.Contains(err.Error(), name) {
					t.Errorf("All: %v", err)
				}
			}
			if n != len(all)-1 {
				t.Errorf("All gives %d good records, want %d", n, len(all)-1)
			}
			add(t, l, labA, "the chain goes on: its head is not in doubt")
			if head, err := l.AppendForeign(t.Context(), o, [][]byte{raw}); err != nil || head.Seq != 12 {
				t.Fatalf("a good copy: head %d, %v", head.Seq, err)
			}
			if got := chain(t, l, o); !bytes.Equal(got[bad-1].Raw, raw) {
				t.Error("the good copy is not in the log")
			}
		})
	}
}

// Other damage that only comparing finds. The name says what verify must name.
func TestVerifyFinds(t *testing.T) {
	for _, tc := range []struct {
		name  string
		class care.Class
		want  string
		harm  func(t *testing.T, tx kv.Tx, o record.Origin) error
	}{
		{"a record cut out", care.Damaged, "record 3 of origin", func(_ *testing.T, tx kv.Tx, o record.Origin) error {
			return tx.Delete(ledger.LogTable, logKey(o, 3))
		}},
		{"the first record cut out", care.Damaged, "record 1 of origin", func(_ *testing.T, tx kv.Tx, o record.Origin) error {
			return tx.Delete(ledger.LogTable, logKey(o, 1))
		}},
		{"the tail cut off", care.Forked, "own origin", func(_ *testing.T, tx kv.Tx, o record.Origin) error {
			return tx.Delete(ledger.LogTable, logKey(o, 5))
		}},
		{"two records swapped", care.Damaged, "record 4 of", func(_ *testing.T, tx kv.Tx, o record.Origin) error {
			a, err := tx.Get(ledger.LogTable, logKey(o, 3))
			if err != nil {
				return err
			}
			return tx.Put(ledger.LogTable, logKey(o, 4), bytes.Clone(a))
		}},
		{"a record rewritten with a good hash of its own", care.Damaged, "record 4 of origin", func(t *testing.T, tx kv.Tx, o record.Origin) error {
			b, err := tx.Get(ledger.LogTable, logKey(o, 3))
			if err != nil {
				return err
			}
			r, err := record.Parse(b[33:])
			if err != nil {
				return err
			}
			other := forge(t, r, "another truth")
			return tx.Put(ledger.LogTable, logKey(o, 3), kv.Join([]byte{1}, other.Hash[:], other.Raw))
		}},
		{"a view row changed", care.Damaged, "test.notes", func(_ *testing.T, tx kv.Tx, _ record.Origin) error {
			return tx.Put("test.notes", []byte("zz"), []byte{1})
		}},
		{"a tally lost", care.Damaged, "test.notes/sum lab", func(_ *testing.T, tx kv.Tx, _ record.Origin) error {
			return tx.Drop("test.notes/sum lab")
		}},
		{"the head lost", care.Forked, "own origin", func(_ *testing.T, tx kv.Tx, o record.Origin) error {
			return tx.Drop(ledger.HeadTable)
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			l := ledgertest.Open(t, ledgertest.Options{Views: notes{}, Damaged: true})
			add(t, l, labA, "a", "b", "c", "d")
			o := l.Own(labA)
			if err := l.Store.Update(t.Context(), func(tx kv.Tx) error { return tc.harm(t, tx, o) }); err != nil {
				t.Fatal(err)
			}
			report, err := l.Verify(t.Context())
			if err != nil || report.Class() != tc.class || !strings.Contains(report.String(), tc.want) {
				t.Errorf("verify: %v, class %d, want %d and %q\n%s", err, report.Class(), tc.class, tc.want, report)
			}
		})
	}
}

func TestVerifyFindsAttachments(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Damaged: true})
	shot := func(text string) record.Attachment {
		ref, err := l.Blobs.Put(t.Context(), strings.NewReader(text), 0)
		if err != nil {
			t.Fatal(err)
		}
		d := draft("shot", text)
		d.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "source", Media: "text/csv"}}
		if _, err := l.Append(t.Context(), labA, d); err != nil {
			t.Fatal(err)
		}
		return d.Attachments[0]
	}
	shot("whole")
	gone, changed, short := shot("gone"), shot("changed"), shot("short")
	if _, err := l.Blobs.Put(t.Context(), strings.NewReader("named by nobody"), 0); err != nil {
		t.Fatal(err)
	}
	report, err := l.Verify(t.Context())
	if err != nil || report.Class() != care.OK || report.Attachments != 4 || report.Orphans != 1 {
		t.Errorf("verify: %v\n%s", err, report)
	}
	for path, content := range map[string]string{l.Blobs.Path(changed.SHA256): "chAnged", l.Blobs.Path(short.SHA256): "sho"} {
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Remove(l.Blobs.Path(gone.SHA256)); err != nil {
		t.Fatal(err)
	}
	report, err = l.Verify(t.Context())
	if err != nil || report.Class() != care.Damaged || len(report.Findings) != 3 {
		t.Errorf("verify: %v\n%s", err, report)
	}
	for _, a := range []record.Attachment{gone, changed, short} {
		if !strings.Contains(report.String(), a.SHA256.String()) {
			t.Errorf("verify does not name %s\n%s", a.SHA256, report)
		}
	}
	// The same records on another node, where the bytes may still come (S7).
	other := ledgertest.Open(t)
	o := l.Own(labA)
	if _, err := other.AppendForeign(t.Context(), o, raws(chain(t, l, o))); err != nil {
		t.Fatal(err)
	}
	report, err = other.Verify(t.Context())
	if err != nil || report.Class() != care.OK || report.Awaited != 4 {
		t.Errorf("verify elsewhere: %v\n%s", err, report)
	}
	report, err = care.Verify(t.Context(), care.Source{Store: other.Store, Blobs: other.Blobs, Node: other.Node.ID,
		Complete: func(kv.Reader, record.Origin) (uint64, error) { return 3, nil }})
	if err != nil || report.Class() != care.Damaged || len(report.Findings) != 2 || report.Awaited != 2 {
		t.Errorf("verify elsewhere, complete through record 3: %v\n%s", err, report)
	}
}

// The newest meta page damaged is a silent step back in bbolt: the anchor, or
// the head behind it, must tell. THUDBOOK_FLIPS has every bit of the page's fields
// tried, not each seventh.
func TestNewestMetaPageDamaged(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Damaged: true})
	for range 5 {
		add(t, l, labA, "x")
	}
	o := l.Own(labA)
	l.Stop(t)
	good, err := os.ReadFile(l.StorePath())
	if err != nil {
		t.Fatal(err)
	}
	page := os.Getpagesize()
	newest := newestMeta(t, l.StorePath())
	steps := 0
	every := 7
	if os.Getenv("THUDBOOK_FLIPS") != "" { // the long run
		every = 1
	}
	for bit := 0; bit < 64*8; bit += every {
		bad := bytes.Clone(good)
		bad[newest*page+16+bit/8] ^= 1 << (bit % 8) // the meta begins behind a page header of 16 bytes
		path := filepath.Join(t.TempDir(), "store")
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := boltkv.Open(path, boltkv.Options{})
		if err != nil {
			t.Errorf("bit %d: Open = %v", bit, err)
			continue
		}
		report, err := care.Verify(t.Context(), care.Source{Store: s, Anchor: l.AnchorPath(), Node: l.Node.ID})
		if err != nil || report.Class() != care.Forked {
			t.Errorf("bit %d: verify: %v, class %d", bit, err, report.Class())
		}
		if report.Records == 5 {
			steps++
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	if steps == 0 {
		t.Errorf("no flip set the store of %s back: the test has no teeth", o)
	}
}

// newestMeta gives the page, 0 or 1, of the meta with the higher transaction.
func newestMeta(t *testing.T, path string) int {
	t.Helper()
	db, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	tx, err := db.Begin(false)
	if err != nil {
		t.Fatal(err)
	}
	id := tx.ID()
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return id % 2
}

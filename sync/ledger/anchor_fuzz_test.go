package ledger

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"thudbook/sync/record"
)

// FuzzAnchor reads any bytes as an anchor file: it panics on none, what it takes
// it gives back the same, and one flipped bit of a slot is never taken.
func FuzzAnchor(f *testing.F) {
	one := anchorFile{node: record.NodeID{1}, counter: 7, entries: map[record.LabID]anchorEntry{
		{2}: {Epoch: 1, Head: record.Head{Seq: 12, Hash: record.Hash{3}}},
		{4}: {Epoch: 3, Head: record.Head{Seq: 1 << 40, Hash: record.Hash{5}}}}}
	good := one.encode()
	f.Add([]byte{}, uint32(0))
	f.Add(good, uint32(9))
	f.Add(good[:len(good)-1], uint32(0))
	f.Add(append(append([]byte(anchorMagic), make([]byte, 24)...), 0xff, 0xff, 0xff, 0xff), uint32(3)) // claims four thousand million labs
	f.Add(append(append([]byte{}, make([]byte, anchorSlot)...), good...), uint32(77))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte, flip uint32) {
		path := filepath.Join(dir, "anchor")
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		a, err := readAnchor(path)
		if err != nil {
			if !errors.Is(err, errBadAnchor) {
				t.Fatalf("%d bytes: %v", len(b), err)
			}
			return
		}
		again := a.encode()
		back, ok := decodeSlot(again)
		if !ok || back.node != a.node || back.counter != a.counter || !reflect.DeepEqual(back.entries, a.entries) {
			t.Fatalf("read %+v, written and read again %+v, %v", a, back, ok)
		}
		bit := int(flip) % (8 * len(again))
		again[bit/8] ^= 1 << (bit % 8)
		if _, ok := decodeSlot(again); ok {
			t.Fatalf("bit %d flipped, and taken all the same", bit)
		}
	})
}

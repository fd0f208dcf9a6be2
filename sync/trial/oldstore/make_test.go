package oldstore_test

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/json"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/google/uuid"

	"thudbook/sync/home"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// key gives an invented node's key.
func key(name string) ed25519.PrivateKey {
	seed := sha256.Sum256([]byte(name))
	return ed25519.NewKeyFromSeed(seed[:])
}

// writeIdentity makes the folder belong to an invented node.
func writeIdentity(t *testing.T, dir, name string) {
	t.Helper()
	b, err := json.Marshal(map[string]any{"version": 1, "id": labtest.ID("node", name), "ed25519_seed": key(name).Seed()})
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "node.json"), b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func openHome(t *testing.T, dir string, now func() time.Time) *home.Home {
	t.Helper()
	h, err := home.Open(t.Context(), home.Options{Dir: dir, Now: now, Software: "trial"})
	if err != nil {
		t.Fatalf("open %s: %v", dir, err)
	}
	t.Cleanup(func() {
		if err := h.Close(); err != nil {
			t.Errorf("close %s: %v", dir, err)
		}
	})
	return h
}

func oldLab() record.LabID { return labtest.ID("lab", "old") }

// TestMakeStore writes a folder of the present format to THUDBOOK_MAKE_STORE,
// as a packed file for testdata: once for each format.
func TestMakeStore(t *testing.T) {
	to := os.Getenv("THUDBOOK_MAKE_STORE")
	if to == "" {
		t.Skip("THUDBOOK_MAKE_STORE names no file to write")
	}
	dir := t.TempDir()
	fill(t, dir)
	if err := os.WriteFile(to, pack(t, dir), 0o644); err != nil {
		t.Fatal(err)
	}
}

// fill writes a little of everything, with ids, clock and keys that never change.
func fill(t *testing.T, dir string) {
	t.Helper()
	writeIdentity(t, dir, "old agent")
	at := labtest.Start()
	h, err := home.Open(t.Context(), home.Options{Dir: dir, Software: "trial", Now: func() time.Time { at = at.Add(time.Second); return at }})
	if err != nil {
		t.Fatal(err)
	}
	labtest.FillLab(t, h.Ledger, 6, labtest.Options{Lab: oldLab(), Blobs: h.Blobs, Seed: 4})
	unknown := ledger.Draft{Kind: "later.kind", Schema: 9, Author: "tester", UID: labtest.ID("unknown"), Body: []byte{0xa1, 0x61, 'x', 0x05}}
	labtest.Append(t, h.Ledger, oldLab(), unknown)
	if err := h.Ledger.CloseOwn(t.Context(), h.Ledger.Own(oldLab()), "closed for the trial"); err != nil {
		t.Fatal(err)
	}
	labtest.Append(t, h.Ledger, oldLab(), unknown)
	other := record.Origin{Node: labtest.ID("node", "another"), Lab: oldLab(), Epoch: 1}
	if _, err := h.Ledger.AppendForeign(t.Context(), other, foreignChain(t, other)); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
}

// foreignChain is another node's chain; its second record has a key in the
// envelope that no present version knows.
func foreignChain(t *testing.T, o record.Origin) [][]byte {
	t.Helper()
	body, err := record.EncodeBody(record.Genesis{NodeKey: key("another").Public().(ed25519.PublicKey), Software: "later"})
	if err != nil {
		t.Fatal(err)
	}
	first, err := record.Seal(record.Envelope{Node: o.Node, Lab: o.Lab, Epoch: o.Epoch, Seq: 1, Clock: 1 << 20, WallNS: 1, Kind: record.KindGenesis, Schema: 1, Author: "node", Body: body})
	if err != nil {
		t.Fatal(err)
	}
	second, err := record.Seal(record.Envelope{Node: o.Node, Lab: o.Lab, Epoch: o.Epoch, Seq: 2, Prev: first.Hash, Clock: 1<<20 + 1, WallNS: 2,
		Kind: "later.other", Schema: 3, Author: "node", UID: uuid.UUID{7}, Body: []byte{0xa0}})
	if err != nil {
		t.Fatal(err)
	}
	var all map[uint64]any
	if err := cbor.Unmarshal(second.Raw, &all); err != nil {
		t.Fatal(err)
	}
	all[99] = "of a later version"
	mode, err := cbor.CoreDetEncOptions().EncMode()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := mode.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return [][]byte{first.Raw, raw}
}

// pack gives the files of a folder as a packed file, without times.
func pack(t *testing.T, dir string) []byte {
	t.Helper()
	var b bytes.Buffer
	zip, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	out := tar.NewWriter(zip)
	err = fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		content, err := os.ReadFile(filepath.Join(dir, path))
		if err != nil {
			return err
		}
		if err := out.WriteHeader(&tar.Header{Name: path, Mode: 0o600, Size: int64(len(content))}); err != nil {
			return err
		}
		_, err = out.Write(content)
		return err
	})
	for _, err := range []error{err, out.Close(), zip.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}

// unpack writes a packed folder.
func unpack(t *testing.T, packed string) string {
	t.Helper()
	dir := t.TempDir()
	f, err := os.Open(packed)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }() // it was read only
	zip, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	in := tar.NewReader(zip)
	for {
		h, err := in.Next()
		if err == io.EOF {
			return dir
		}
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(in)
		if err == nil {
			err = os.MkdirAll(filepath.Join(dir, filepath.Dir(h.Name)), 0o700)
		}
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, h.Name), b, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

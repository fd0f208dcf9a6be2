package receipt_test

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"math/big"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

func key(t *testing.T) ed25519.PrivateKey {
	t.Helper()
	_, k, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func public(k ed25519.PrivateKey) ed25519.PublicKey { return k.Public().(ed25519.PublicKey) }

func statement() receipt.Statement {
	return receipt.Statement{Origin: record.Origin{Node: uuid.New(), Lab: uuid.New(), Epoch: 3}, Seq: 41, Hash: record.Hash{1, 2},
		CompleteThrough: 40, Server: uuid.New(), Incarnation: uuid.New(), TimeMS: 1_900_000_000_000}
}

func TestReceiptVerifies(t *testing.T) {
	k := key(t)
	r := receipt.Sign(k, statement())
	if err := r.Verify(public(k)); err != nil {
		t.Fatal(err)
	}
	if err := r.Verify(public(key(t))); !errors.Is(err, receipt.ErrSignature) {
		t.Errorf("another key: %v", err)
	}
	if err := r.Verify(nil); err == nil {
		t.Error("no key: accepted")
	}
	b, err := r.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	var back receipt.Receipt
	if err := back.UnmarshalBinary(b); err != nil || back != r {
		t.Errorf("read back %+v, %v", back, err)
	}
	for i := range len(b) * 8 {
		bad := bytes.Clone(b)
		bad[i/8] ^= 1 << (i % 8)
		if err := back.UnmarshalBinary(bad); err != nil {
			t.Fatal(err)
		}
		if err := back.Verify(public(k)); err == nil {
			t.Fatalf("bit %d flipped: accepted", i)
		}
	}
	for _, n := range []int{0, len(b) - 1, len(b) + 1} {
		if err := back.UnmarshalBinary(append(bytes.Clone(b), 0)[:n]); !errors.Is(err, receipt.ErrSize) {
			t.Errorf("%d bytes: %v, want ErrSize", n, err)
		}
	}
	s := statement()
	s.CompleteThrough = 42
	r = receipt.Sign(k, s)
	if r.Verify(public(k)) == nil {
		t.Error("more complete than there are records: accepted")
	}
}

// A signature of a head is none of a receipt, and none of another head.
func TestHeadSignature(t *testing.T) {
	k := key(t)
	s := statement()
	sig := receipt.SignHead(k, s.Origin, s.Head())
	if !receipt.VerifyHead(public(k), s.Origin, s.Head(), sig) {
		t.Error("its own head: refused")
	}
	other := s.Head()
	other.Seq++
	if receipt.VerifyHead(public(k), s.Origin, other, sig) || receipt.VerifyHead(nil, s.Origin, s.Head(), sig) || receipt.VerifyHead(public(k), s.Origin, s.Head(), nil) {
		t.Error("something else: accepted")
	}
	r := receipt.Receipt{Statement: s}
	copy(r.Signature[:], sig)
	if r.Verify(public(k)) == nil {
		t.Error("a head's signature passes for a receipt's")
	}
}

// The signed bytes are those that sync/FORMAT.md, section 9, lays out; here they
// are put together by hand.
func TestSignedBytesAsWritten(t *testing.T) {
	k, s := key(t), statement()
	origin := slices.Concat(s.Origin.Node[:], s.Origin.Lab[:], []byte{0, 0, 0, 3})
	seq := []byte{0, 0, 0, 0, 0, 0, 0, 41}
	head := slices.Concat([]byte("head1"), origin, seq, s.Hash[:])
	if !ed25519.Verify(public(k), head, receipt.SignHead(k, s.Origin, s.Head())) {
		t.Error("a head is signed over other bytes")
	}
	at := big.NewInt(s.TimeMS).FillBytes(make([]byte, 8))
	said := slices.Concat(origin, seq, s.Hash[:], []byte{0, 0, 0, 0, 0, 0, 0, 40}, s.Server[:], s.Incarnation[:], at)
	r := receipt.Sign(k, s)
	if len(said) != 124 || !ed25519.Verify(public(k), append([]byte("rcpt1"), said...), r.Signature[:]) {
		t.Error("a receipt is signed over other bytes")
	}
	stored, err := r.MarshalBinary()
	if err != nil || !bytes.Equal(stored, append(said, r.Signature[:]...)) {
		t.Errorf("a receipt is stored as other bytes, %v", err)
	}
}

func TestNewestReceiptIsKept(t *testing.T) {
	store, err := boltkv.Open(filepath.Join(t.TempDir(), "store"), boltkv.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	k, s := key(t), statement()
	put := func(seq, complete uint64, incarnation uuid.UUID) receipt.Receipt {
		t.Helper()
		s.Seq, s.CompleteThrough, s.Incarnation = seq, complete, incarnation
		r := receipt.Sign(k, s)
		if err := store.Update(t.Context(), func(tx kv.Tx) error { return receipt.Store(tx, &r) }); err != nil {
			t.Fatal(err)
		}
		var got receipt.Receipt
		err := store.View(t.Context(), func(kr kv.Reader) (err error) {
			got, _, err = receipt.Load(kr, s.Server, s.Origin)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	one, two := uuid.New(), uuid.New()
	for _, c := range []struct {
		seq, complete uint64
		in            uuid.UUID
		wantSeq, want uint64
		why           string
	}{
		{10, 5, one, 10, 5, "the first"},
		{8, 8, one, 10, 5, "an older one that comes late"},
		{10, 7, one, 10, 7, "more attachments"},
		{10, 6, one, 10, 7, "fewer attachments, late"},
		{12, 2, one, 12, 2, "more records"},
		{3, 3, two, 3, 3, "a restored server covers less"},
	} {
		if got := put(c.seq, c.complete, c.in); got.Seq != c.wantSeq || got.CompleteThrough != c.want {
			t.Errorf("%s: kept %d, %d, want %d, %d", c.why, got.Seq, got.CompleteThrough, c.wantSeq, c.want)
		}
	}
	s.Server, s.Origin.Epoch = uuid.New(), 4
	put(1, 1, one)
	err = store.View(t.Context(), func(kr kv.Reader) error {
		all, err := receipt.All(kr, s.Server)
		if len(all) != 1 || all[0].Seq != 1 {
			t.Errorf("of the second server: %d receipts", len(all))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

package exchangetest

import (
	"crypto/sha256"
	"io"
	"math/rand/v2"
	"testing"

	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// noise gives bytes that nothing compresses, the same at every call.
func noise(size int64) io.Reader {
	return io.LimitReader(rand.NewChaCha8([32]byte{1}), size)
}

// Large appends a fact with a film of a size, without holding it in memory.
func Large(t testing.TB, l *ledgertest.Ledger, lab record.LabID, text string, size int64) record.Record {
	t.Helper()
	ref, err := l.Blobs.Put(t.Context(), noise(size), 0)
	if err != nil {
		t.Fatalf("store the film: %v", err)
	}
	body, err := record.EncodeBody(map[string]string{"text": text})
	if err != nil {
		t.Fatal(err)
	}
	recs, err := l.Append(t.Context(), lab, ledger.Draft{Kind: Kind, Schema: 1, UID: Lab(t), Body: body,
		Attachments: []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "video", Media: "video/mp4", Name: text + ".mp4"}}})
	if err != nil {
		t.Fatalf("append: %v", err)
	}
	return recs[0]
}

// LargeSum is the hash of the film of Large.
func LargeSum(size int64) record.Hash {
	h := sha256.New()
	_, _ = io.Copy(h, noise(size)) // neither side fails
	return record.Hash(h.Sum(nil))
}

// Sum is the SHA-256 of some bytes.
func Sum(b []byte) record.Hash { return sha256.Sum256(b) }

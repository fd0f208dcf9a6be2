// Package blobtest is the conformance suite of blob stores.
package blobtest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/iotest"

	"thudbook/sync/blob"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Run checks a store made by open, which must return an empty one each time.
func Run(t *testing.T, open func(testing.TB) blob.Store) {
	for _, c := range []struct {
		name string
		run  func(*testing.T, blob.Store)
	}{
		{"what was put is read, byte for byte", putOpen},
		{"the same bytes are stored once", twice},
		{"the limit is kept, to the byte", limit},
		{"a reader that fails leaves nothing", failingReader},
		{"announced bytes are kept if they are what was announced", expect},
		{"bytes that are not what was announced are refused", expectOther},
		{"a transfer goes on where it was cut", transfer},
		{"a part that does not follow is refused", partElsewhere},
		{"a transfer of other bytes is refused, and heals", transferOfOthers},
		{"the writer that came last goes on", takeOver},
		{"nothing is stored before the receiver agrees", proved},
		{"absent bytes are not found", absent},
		{"removed bytes are gone, and may come again", removed},
		{"a list is in order and complete", list},
		{"reading may seek", seek},
		{"concurrent writers of the same bytes all succeed", concurrent},
		{"an ended context is noticed", endedContext},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
	}
}

// Random gives n bytes that look random, the same for each seed.
func Random(seed uint64, n int) []byte {
	b := make([]byte, n)
	r := rand.NewChaCha8([32]byte{byte(seed), byte(seed >> 8), byte(seed >> 16)})
	_, _ = r.Read(b) // never fails
	return b
}

func refOf(b []byte) blob.Ref { return blob.Ref{SHA256: sha256.Sum256(b), Size: int64(len(b))} }

func put(t *testing.T, s blob.Store, b []byte) blob.Ref {
	t.Helper()
	ref, err := s.Put(t.Context(), bytes.NewReader(b), 0)
	if err != nil || ref != refOf(b) {
		t.Fatalf("Put = %v, %v, want %v", ref, err, refOf(b))
	}
	return ref
}

func wantBytes(t *testing.T, s blob.Store, b []byte) {
	t.Helper()
	ref := refOf(b)
	if has, n, err := s.Has(t.Context(), ref.SHA256); !has || n != ref.Size || err != nil {
		t.Errorf("Has = %v, %d, %v", has, n, err)
	}
	f, n, err := s.Open(t.Context(), ref.SHA256)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	got, err := io.ReadAll(f)
	if err = errors.Join(err, f.Close()); err != nil || n != ref.Size || !bytes.Equal(got, b) {
		t.Errorf("Open gives %d bytes, says %d, %v, want %d", len(got), n, err, len(b))
	}
	if err := s.Verify(t.Context(), ref.SHA256); err != nil {
		t.Errorf("Verify = %v", err)
	}
}

func all(t *testing.T, s blob.Store) []blob.Ref {
	t.Helper()
	var refs []blob.Ref
	for ref, err := range s.List(t.Context()) {
		if err != nil {
			t.Fatalf("List: %v", err)
		}
		refs = append(refs, ref)
	}
	return refs
}

func putOpen(t *testing.T, s blob.Store) {
	for i, n := range []int{0, 1, 4095, 4096, 1 << 20} {
		b := Random(uint64(i), n)
		put(t, s, b)
		wantBytes(t, s, b)
	}
}

func twice(t *testing.T, s blob.Store) {
	b := Random(1, 10_000)
	ref := put(t, s, b)
	put(t, s, b)
	if err := s.PutExpect(t.Context(), ref.SHA256, ref.Size, bytes.NewReader(b)); err != nil {
		t.Errorf("PutExpect = %v", err)
	}
	if refs := all(t, s); !slices.Equal(refs, []blob.Ref{ref}) {
		t.Errorf("the store holds %v", refs)
	}
	wantBytes(t, s, b)
}

func limit(t *testing.T, s blob.Store) {
	b := Random(2, 1000)
	if _, err := s.Put(t.Context(), bytes.NewReader(b), 999); problem.Of(err) != problem.TooLarge {
		t.Errorf("1000 bytes under a limit of 999: %v", err)
	}
	if refs := all(t, s); len(refs) != 0 {
		t.Errorf("the store holds %v", refs)
	}
	if _, err := s.Put(t.Context(), bytes.NewReader(b), 1000); err != nil {
		t.Errorf("1000 bytes under a limit of 1000: %v", err)
	}
}

func failingReader(t *testing.T, s blob.Store) {
	broken := errors.New("the network broke")
	r := func() io.Reader {
		return io.MultiReader(strings.NewReader("half of it"), iotest.ErrReader(broken))
	}
	if _, err := s.Put(t.Context(), r(), 0); !errors.Is(err, broken) {
		t.Errorf("Put = %v", err)
	}
	if err := s.PutExpect(t.Context(), sha256.Sum256([]byte("whole")), 100, r()); !errors.Is(err, broken) || problem.Of(err) == problem.Damaged {
		t.Errorf("PutExpect = %v", err)
	}
	if refs := all(t, s); len(refs) != 0 {
		t.Errorf("the store holds %v", refs)
	}
}

func expect(t *testing.T, s blob.Store) {
	b := Random(3, 70_000)
	ref := refOf(b)
	if err := s.PutExpect(t.Context(), ref.SHA256, ref.Size, iotest.OneByteReader(bytes.NewReader(b))); err != nil {
		t.Fatalf("PutExpect = %v", err)
	}
	wantBytes(t, s, b)
}

func expectOther(t *testing.T, s blob.Store) {
	b := Random(4, 1000)
	ref := refOf(b)
	for name, other := range map[string][]byte{
		"other bytes": Random(5, 1000), "too few": b[:999], "too many": append(slices.Clone(b), 0), "none": nil,
	} {
		err := s.PutExpect(t.Context(), ref.SHA256, ref.Size, bytes.NewReader(other))
		if problem.Of(err) != problem.Damaged {
			t.Errorf("%s: PutExpect = %v", name, err)
		}
	}
	if refs := all(t, s); len(refs) != 0 {
		t.Errorf("the store holds %v", refs)
	}
	put(t, s, b)
	wantBytes(t, s, b)
}

func absent(t *testing.T, s blob.Store) {
	h := record.Hash(sha256.Sum256([]byte("nobody")))
	if _, _, err := s.Open(t.Context(), h); problem.Of(err) != problem.NotFound {
		t.Errorf("Open = %v", err)
	}
	if err := s.Verify(t.Context(), h); problem.Of(err) != problem.NotFound {
		t.Errorf("Verify = %v", err)
	}
	if has, _, err := s.Has(t.Context(), h); has || err != nil {
		t.Errorf("Has = %v, %v", has, err)
	}
}

func list(t *testing.T, s blob.Store) {
	var want []blob.Ref
	for i := range 40 {
		want = append(want, put(t, s, Random(uint64(100+i), i)))
	}
	slices.SortFunc(want, func(a, b blob.Ref) int { return bytes.Compare(a.SHA256[:], b.SHA256[:]) })
	if got := all(t, s); !slices.Equal(got, want) {
		t.Errorf("List gives %d refs, want %d in order", len(got), len(want))
	}
	n := 0
	for range s.List(t.Context()) {
		if n++; n == 3 {
			break
		}
	}
	if n != 3 {
		t.Errorf("the loop ran %d times", n)
	}
}

func seek(t *testing.T, s blob.Store) {
	b := Random(6, 50_000)
	ref := put(t, s, b)
	f, _, err := s.Open(t.Context(), ref.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := f.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	}()
	if _, err := f.Seek(49_000, io.SeekStart); err != nil {
		t.Fatal(err)
	}
	if got, err := io.ReadAll(f); err != nil || !bytes.Equal(got, b[49_000:]) {
		t.Errorf("the end reads as %d bytes, %v", len(got), err)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		t.Fatal(err)
	}
	if got, err := io.ReadAll(f); err != nil || !bytes.Equal(got, b) {
		t.Errorf("all reads as %d bytes, %v", len(got), err)
	}
}

func concurrent(t *testing.T, s blob.Store) {
	b := Random(7, 100_000)
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			var err error
			if i%2 == 0 {
				_, err = s.Put(t.Context(), bytes.NewReader(b), 0)
			} else {
				err = s.PutExpect(t.Context(), refOf(b).SHA256, int64(len(b)), bytes.NewReader(b))
			}
			if err != nil {
				t.Errorf("writer %d: %v", i, err)
			}
		})
	}
	wg.Wait()
	wantBytes(t, s, b)
	if refs := all(t, s); len(refs) != 1 {
		t.Errorf("the store holds %v", refs)
	}
}

func endedContext(t *testing.T, s blob.Store) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Put(ctx, strings.NewReader("x"), 0); !errors.Is(err, context.Canceled) {
		t.Errorf("Put = %v", err)
	}
	if refs := all(t, s); len(refs) != 0 {
		t.Errorf("the store holds %v", refs)
	}
}

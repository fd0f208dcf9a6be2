package blobtest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"testing"
	"testing/iotest"

	"thudbook/sync/blob"
	"thudbook/sync/problem"
)

func partial(t *testing.T, s blob.Store, scope string, ref blob.Ref, want int64) {
	t.Helper()
	if n, err := s.Partial(t.Context(), scope, ref); n != want || err != nil {
		t.Errorf("Partial = %d, %v, want %d", n, err, want)
	}
}

func transfer(t *testing.T, s blob.Store) {
	b := Random(20, 700_001)
	ref := refOf(b)
	cut := fmt.Errorf("cut: %w", io.ErrUnexpectedEOF) // as connections say it; never to be taken for the end
	at := int64(0)
	for i, end := range []int{0, 1, 300_000, 300_000, 650_000} {
		r := io.MultiReader(bytes.NewReader(b[at:end]), iotest.ErrReader(cut))
		n, err := s.Append(t.Context(), "a", ref, at, r, nil)
		if !errors.Is(err, cut) || n != int64(end) {
			t.Fatalf("part %d = %d, %v, want %d and the reader's error", i, n, err, end)
		}
		at = n
		partial(t, s, "a", ref, at)
		partial(t, s, "b", ref, 0)
		partial(t, s, "a", blob.Ref{SHA256: ref.SHA256, Size: ref.Size + 1}, 0)
	}
	if has, _, err := s.Has(t.Context(), ref.SHA256); has || err != nil {
		t.Errorf("Has before the end = %v, %v", has, err)
	}
	if n, err := s.Append(t.Context(), "a", ref, at, bytes.NewReader(b[at:]), nil); n != ref.Size || err != nil {
		t.Fatalf("the last part = %d, %v", n, err)
	}
	wantBytes(t, s, b)
	partial(t, s, "a", ref, 0)
	if n, err := s.Append(t.Context(), "b", ref, 0, bytes.NewReader(b), nil); n != ref.Size || err != nil {
		t.Errorf("the same bytes by another way = %d, %v", n, err)
	}
	if refs := all(t, s); len(refs) != 1 {
		t.Errorf("the store holds %v", refs)
	}
	empty := refOf(nil)
	if n, err := s.Append(t.Context(), "a", empty, 0, bytes.NewReader(nil), nil); n != 0 || err != nil {
		t.Errorf("no bytes at all = %d, %v", n, err)
	}
	wantBytes(t, s, nil)
}

func partElsewhere(t *testing.T, s blob.Store) {
	b := Random(21, 10_000)
	ref := refOf(b)
	if n, err := s.Append(t.Context(), "a", ref, 0, bytes.NewReader(b[:4000]), nil); n != 4000 || err != nil {
		t.Fatalf("first part = %d, %v", n, err)
	}
	for _, offset := range []int64{0, 3999, 4001, 10_000, -1} {
		n, err := s.Append(t.Context(), "a", ref, offset, bytes.NewReader(b[4000:]), nil)
		if problem.Of(err) != problem.Conflict || n != 4000 {
			t.Errorf("a part at %d = %d, %v, want 4000 and a conflict", offset, n, err)
		}
	}
	if _, err := s.Append(t.Context(), "../x", ref, 0, bytes.NewReader(b), nil); err == nil {
		t.Error("a scope that leads elsewhere was taken")
	}
	if n, err := s.Append(t.Context(), "a", ref, 4000, bytes.NewReader(b[4000:]), nil); n != ref.Size || err != nil {
		t.Errorf("last part = %d, %v", n, err)
	}
	wantBytes(t, s, b)
}

func transferOfOthers(t *testing.T, s blob.Store) {
	b := Random(22, 10_000)
	ref := refOf(b)
	other := bytes.Clone(b)
	other[7000] ^= 1
	for name, parts := range map[string][][]byte{
		"one part": {other}, "two parts": {other[:5000], other[5000:]}, "too much": {b[:9000], append(bytes.Clone(b[9000:]), 0)},
	} {
		at, err := int64(0), error(nil)
		for _, p := range parts {
			at, err = s.Append(t.Context(), "a", ref, at, bytes.NewReader(p), nil)
		}
		if problem.Of(err) != problem.Damaged {
			t.Errorf("%s: %d, %v, want a problem with code damaged", name, at, err)
		}
		partial(t, s, "a", ref, 0)
		if refs := all(t, s); len(refs) != 0 {
			t.Errorf("%s: the store holds %v", name, refs)
		}
	}
	if n, err := s.Append(t.Context(), "a", ref, 0, bytes.NewReader(b), nil); n != ref.Size || err != nil {
		t.Errorf("the right bytes = %d, %v", n, err)
	}
	wantBytes(t, s, b)
}

// A connection that broke may be noticed late: its writer must not disturb the
// one that came after it.
func takeOver(t *testing.T, s blob.Store) {
	b := Random(23, 600_000)
	ref := refOf(b)
	r, w := io.Pipe()
	first := make(chan error, 1)
	go func() {
		_, err := s.Append(t.Context(), "a", ref, 0, r, nil)
		first <- err
	}()
	if _, err := w.Write(b[:300_000]); err != nil { // more than is read at once: the writer has come to it
		t.Fatal(err)
	}
	at, err := s.Partial(t.Context(), "a", ref)
	if err != nil || at > 300_000 {
		t.Fatalf("Partial = %d, %v", at, err)
	}
	for range 3 { // the first may be in the middle of a piece
		if at, err = s.Append(t.Context(), "a", ref, at, bytes.NewReader(b[at:]), nil); problem.Of(err) != problem.Conflict {
			break
		}
	}
	if at != ref.Size || err != nil {
		t.Fatalf("the second writer = %d, %v", at, err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-first; problem.Of(err) != problem.Conflict {
		t.Errorf("the first writer: %v, want a conflict", err)
	}
	wantBytes(t, s, b)
}

func proved(t *testing.T, s blob.Store) {
	b := Random(24, 1000)
	ref := refOf(b)
	no := errors.New("not now")
	if _, err := s.Append(t.Context(), "a", ref, 0, bytes.NewReader(b), func() error { return no }); !errors.Is(err, no) {
		t.Errorf("Append = %v", err)
	}
	if has, _, err := s.Has(t.Context(), ref.SHA256); has || err != nil {
		t.Errorf("Has = %v, %v", has, err)
	}
	partial(t, s, "a", ref, 1000) // it is not sent again for that
	called := 0
	if n, err := s.Append(t.Context(), "a", ref, 1000, bytes.NewReader(nil), func() error { called++; return nil }); n != 1000 || err != nil || called != 1 {
		t.Errorf("Append = %d, %v, asked %d times", n, err, called)
	}
	wantBytes(t, s, b)
}

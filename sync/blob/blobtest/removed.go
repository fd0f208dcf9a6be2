package blobtest

import (
	"bytes"
	"testing"

	"thudbook/sync/blob"
	"thudbook/sync/problem"
)

func removed(t *testing.T, s blob.Store) {
	gone, kept := Random(61, 4000), Random(62, 4000)
	ref, other := put(t, s, gone), put(t, s, kept)
	cut := Random(63, 4000)
	if at, err := s.Append(t.Context(), "a", refOf(cut), 0, bytes.NewReader(cut[:1000]), nil); at != 1000 || err != nil {
		t.Fatalf("a part: %d, %v", at, err)
	}
	for range 2 { // the second finds nothing, which is no error
		for _, b := range [][]byte{gone, cut} {
			if err := s.Remove(t.Context(), refOf(b).SHA256); err != nil {
				t.Fatal(err)
			}
		}
	}
	if has, _, err := s.Has(t.Context(), ref.SHA256); has || err != nil {
		t.Errorf("Has = %t, %v", has, err)
	}
	if err := s.Verify(t.Context(), ref.SHA256); problem.Of(err) != problem.NotFound {
		t.Errorf("Verify = %v", err)
	}
	if n, err := s.Partial(t.Context(), "a", refOf(cut)); n != 0 || err != nil {
		t.Errorf("of the transfer %d bytes are left, %v", n, err)
	}
	for r, err := range s.List(t.Context()) {
		if err != nil || r != other {
			t.Errorf("listed is %v, %v", r, err)
		}
	}
	wantBytes(t, s, kept)
	put(t, s, gone)
	wantBytes(t, s, gone)
}

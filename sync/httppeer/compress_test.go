package httppeer

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/klauspost/compress/zstd"

	"thudbook/sync/exchange"
)

func squeeze(t testing.TB, r io.Reader, options ...zstd.EOption) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := zstd.NewWriter(&b, options...)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(w, r); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// zeros gives n zero bytes.
func zeros(n int64) io.Reader { return io.LimitReader(zero{}, n) }

type zero struct{}

func (zero) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

func TestWhatIsWorthItIsCompressed(t *testing.T) {
	c := theCodec()
	random := make([]byte, 1<<20)
	_, _ = rand.NewChaCha8([32]byte{3}).Read(random) // never fails
	text := bytes.Repeat([]byte("0.0001,0.1234,-0.5678\n"), 40_000)
	for name, x := range map[string]struct {
		in   []byte
		want bool
	}{
		"text": {text, true}, "noise": {random, false}, "little": {text[:300], false}, "nothing": {nil, false},
		"text with noise behind":       {append(bytes.Clone(text), random[:100_000]...), true},
		"more than a decoder believes": {make([]byte, 8<<20), false},
	} {
		z, ok := c.encode(x.in)
		if ok != x.want {
			t.Errorf("%s: compressed %v, want %v", name, ok, x.want)
		}
		encoding := ""
		if ok {
			encoding = encodingZstd
		}
		for range 2 { // the second time with a decoder that was used before
			r, done, err := c.decode(bytes.NewReader(z), encoding, int64(len(x.in)))
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			got, err := io.ReadAll(r)
			done()
			if err != nil || !bytes.Equal(got, x.in) {
				t.Errorf("%s: %d bytes came back of %d, %v", name, len(got), len(x.in), err)
			}
		}
	}
}

// A body of some kilobytes that would fill the memory is given up early: what
// is decoded of it stays within the bounds.
func TestBombsAreRefused(t *testing.T) {
	c := theCodec()
	for name, x := range map[string]struct {
		body  []byte
		limit int64
	}{
		"a gigabyte of zeros":          {squeeze(t, zeros(1<<30)), exchange.MaxBatchBytes},
		"beyond the ratio, in limits":  {squeeze(t, zeros(1<<30)), 1 << 40},
		"a window of 64 MB":            {squeeze(t, zeros(100<<20), zstd.WithWindowSize(64<<20)), 1 << 40},
		"one more than agreed":         {squeeze(t, zeros(1001)), 1000},
		"bombs behind one another":     {bytes.Repeat(squeeze(t, zeros(16<<20)), 64), exchange.MaxBatchBytes},
		"a bomb behind what is honest": {append(squeeze(t, bytes.NewReader(bytes.Repeat([]byte("t,ax\n"), 100))), squeeze(t, zeros(1<<30))...), exchange.MaxBatchBytes},
	} {
		r, done, err := c.decode(bytes.NewReader(x.body), encodingZstd, x.limit)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		n, err := io.Copy(io.Discard, r)
		done()
		if !errors.Is(err, ErrBomb) {
			t.Errorf("%s: %d bytes and %v, want ErrBomb", name, n, err)
		}
		if most := min(x.limit, ratioFree+maxRatio*int64(len(x.body))) + 1<<20; n > most {
			t.Errorf("%s: %d bytes were decoded, at most %d are allowed", name, n, most)
		}
	}
}

func TestBrokenEncodingsAreNoPanic(t *testing.T) {
	c := theCodec()
	text := bytes.Repeat([]byte("0.0001,0.1234,-0.5678\n"), 1000)
	whole, ok := c.encode(text)
	if !ok {
		t.Fatal("not compressed")
	}
	for name, b := range map[string][]byte{"cut": whole[:len(whole)-3], "not zstd": []byte("<html>hello"), "empty": nil} {
		r, done, err := c.decode(bytes.NewReader(b), encodingZstd, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		_, err = newFrameReader(r, 100).next()
		done()
		if !errors.Is(err, ErrCorrupt) && !errors.Is(err, ErrTruncated) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for i := range whole {
		bad := bytes.Clone(whole)
		bad[i] ^= 16
		r, done, err := c.decode(bytes.NewReader(bad), encodingZstd, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := io.ReadAll(r); err == nil && !bytes.Equal(got, text) { // some bits mean nothing (RFC 8878, 3.1.1.1.1)
			t.Errorf("byte %d altered: nothing noticed", i)
		}
		done()
	}
	if _, _, err := c.decode(nil, "br", 1); err == nil {
		t.Error("an encoding that is not known was taken")
	}
}

func FuzzDecode(f *testing.F) {
	c := theCodec()
	text, _ := c.encode(bytes.Repeat([]byte("0.0001,0.1234\n"), 200))
	f.Add(text)
	f.Add(text[:len(text)/2])
	f.Add(squeeze(f, zeros(1<<20)))
	f.Add([]byte{0x28, 0xb5, 0x2f, 0xfd})
	f.Fuzz(func(t *testing.T, b []byte) {
		const limit = 1 << 20
		r, done, err := c.decode(bytes.NewReader(b), encodingZstd, limit)
		if err != nil {
			return
		}
		defer done()
		if n, _ := io.Copy(io.Discard, r); n > limit {
			t.Fatalf("%d bytes decoded, the limit is %d", n, limit)
		}
	})
}

func FuzzReadPart(f *testing.F) {
	for _, n := range []int64{0, 1, blockBytes, blockBytes + 1} {
		for _, end := range []partEnd{endOfBytes, endOfHeads} {
			b, _, err := encodePart(zeros(n), n, end)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(b, uint8(end))
			f.Add(b[:len(b)-1], uint8(end))
		}
	}
	f.Fuzz(func(t *testing.T, b []byte, as uint8) {
		end := partEnd(as % 2)
		got, err := io.ReadAll(newPartReader(bytes.NewReader(b), end))
		if err != nil {
			return
		}
		again, n, err := encodePart(bytes.NewReader(got), int64(len(got)), end)
		if err != nil || n != int64(len(got)) {
			t.Fatal(n, err)
		}
		back, err := io.ReadAll(newPartReader(bytes.NewReader(again), end))
		if err != nil || !bytes.Equal(back, got) {
			t.Fatal("what was accepted does not come back")
		}
	})
}

// A part that is cut keeps the blocks that came whole; one in which a bit
// flipped keeps those before it, and one whose blocks changed places ends with
// an error, whatever its end sums up.
func TestPartKeepsWhatCameWhole(t *testing.T) {
	whole := make([]byte, 3*blockBytes+17)
	_, _ = rand.NewChaCha8([32]byte{5}).Read(whole) // never fails
	for _, end := range []partEnd{endOfBytes, endOfHeads} {
		b, n, err := encodePart(bytes.NewReader(whole), int64(len(whole)), end)
		if err != nil || n != int64(len(whole)) {
			t.Fatal(n, err)
		}
		block := frameHeader + blockBytes
		swapped := slices.Concat(b[block:2*block], b[:block], b[2*block:])
		for name, x := range map[string]struct {
			body []byte
			keep []byte
			err  error
		}{
			"whole":                    {b, whole, nil},
			"cut in the third block":   {b[:2*block+500], whole[:2*blockBytes], ErrTruncated},
			"cut before the end frame": {b[:len(b)-trailerSize], whole, ErrTruncated},
			"altered second block":     {flip(b, block+frameHeader+9), whole[:blockBytes], ErrCorrupt},
			"altered length":           {flip(b, 0), nil, ErrCorrupt},
			"altered end":              {flip(b, len(b)-1), whole, ErrCorrupt},
			"blocks in another order":  {swapped, slices.Concat(whole[blockBytes:2*blockBytes], whole[:blockBytes], whole[2*blockBytes:]), ErrCorrupt},
			"a block left out":         {b[block:], whole[blockBytes:], ErrCorrupt},
		} {
			got, err := io.ReadAll(newPartReader(bytes.NewReader(x.body), end))
			if !errors.Is(err, x.err) || !bytes.Equal(got, x.keep) {
				t.Errorf("%s, end %d: %d bytes, %v, want %d and %v", name, end, len(got), err, len(x.keep), x.err)
			}
		}
	}
}

func flip(b []byte, i int) []byte {
	b = bytes.Clone(b)
	b[i] ^= 0x80
	return b
}

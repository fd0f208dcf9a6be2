package httppeer

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math/rand/v2"
	"testing"

	"thudbook/sync/record"
)

func sample() [][]byte {
	return [][]byte{[]byte("first"), bytes.Repeat([]byte{7}, 300), {0}, []byte("last one")}
}

func TestFramesComeBack(t *testing.T) {
	for _, want := range [][][]byte{nil, sample(), {bytes.Repeat([]byte("x"), record.MaxBytes)}} {
		b := appendFrames(nil, want)
		if len(b) != framesSize(want) {
			t.Errorf("%d bytes, framesSize says %d", len(b), framesSize(want))
		}
		got, err := readFrames(bytes.NewReader(b), 1<<20)
		if err != nil || len(got) != len(want) {
			t.Fatalf("%d records, %v, want %d", len(got), err, len(want))
		}
		for i := range want {
			if !bytes.Equal(got[i], want[i]) {
				t.Errorf("record %d differs", i)
			}
		}
	}
}

// CRC-32C has a published check value: 0xE3069283 for the digits 1 to 9
// (RFC 3720, appendix B.4, gives the same polynomial; the value is the common
// check value of CRC-32/ISCSI catalogues, not confirmed against print).
func TestFrameCheckSumIsCRC32C(t *testing.T) {
	digits := []byte("123456789")
	b := appendFrames(nil, [][]byte{digits})
	if got := binary.BigEndian.Uint32(b[4:8]); got != 0xE3069283 || got != crc32.Checksum(digits, castagnoli) {
		t.Errorf("check sum %#x, want 0xE3069283", got)
	}
}

func TestCutStreamNeverLooksWhole(t *testing.T) {
	b := appendFrames(nil, sample())
	for n := range len(b) {
		if got, err := readFrames(bytes.NewReader(b[:n]), 1<<20); !errors.Is(err, ErrTruncated) || got != nil {
			t.Fatalf("cut after %d bytes: %d records, %v, want ErrTruncated and none", n, len(got), err)
		}
	}
	if _, err := readFrames(bytes.NewReader(append(b, 0)), 1<<20); !errors.Is(err, ErrCorrupt) {
		t.Errorf("bytes behind the end: %v, want ErrCorrupt", err)
	}
}

func TestEveryFlippedBitIsSeen(t *testing.T) {
	b := appendFrames(nil, sample())
	for i := range len(b) * 8 {
		bad := bytes.Clone(b)
		bad[i/8] ^= 1 << (i % 8)
		if got, err := readFrames(bytes.NewReader(bad), 1<<20); err == nil || got != nil {
			t.Fatalf("bit %d flipped: %d records, %v", i, len(got), err)
		}
	}
}

func TestFramesInAnotherOrderAreSeen(t *testing.T) {
	s := sample()
	b := appendFrames(nil, s)
	trailer := b[len(b)-trailerSize:]
	s[0], s[3] = s[3], s[0]
	swapped := appendFrames(nil, s)
	swapped = append(swapped[:len(swapped)-trailerSize], trailer...)
	if _, err := readFrames(bytes.NewReader(swapped), 1<<20); !errors.Is(err, ErrCorrupt) {
		t.Errorf("swapped frames: %v, want ErrCorrupt", err)
	}
}

func TestStreamLimits(t *testing.T) {
	if _, err := readFrames(bytes.NewReader(appendFrames(nil, sample())), 200); !errors.Is(err, ErrTooLong) {
		t.Errorf("over the limit: %v, want ErrTooLong", err)
	}
	huge := binary.BigEndian.AppendUint32(nil, 1<<31)
	huge = append(huge, make([]byte, 64)...)
	if _, err := readFrames(bytes.NewReader(huge), 1<<20); !errors.Is(err, ErrCorrupt) {
		t.Errorf("a frame of 2 GiB: %v, want ErrCorrupt", err)
	}
}

func FuzzReadFrames(f *testing.F) {
	whole := appendFrames(nil, sample())
	f.Add(whole)
	f.Add(whole[:len(whole)-1])
	f.Add(appendFrames(nil, nil))
	f.Add([]byte{})
	flipped := bytes.Clone(whole)
	flipped[rand.N(len(flipped))] ^= 4
	f.Add(flipped)
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := readFrames(bytes.NewReader(b), 1<<16)
		if err != nil {
			if got != nil {
				t.Fatal("records beside an error")
			}
			return
		}
		if !bytes.Equal(appendFrames(nil, got), b) {
			t.Fatal("what was accepted does not encode to the same bytes")
		}
	})
}

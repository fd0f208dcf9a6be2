package kv

import (
	"bytes"
	"encoding/binary"
	"errors"
)

// ErrScanning is returned by writes to a table while one of its scans runs.
var ErrScanning = errors.New("a table may not be written while it is scanned")

// ErrEmptyKey is returned by Put for an empty key.
var ErrEmptyKey = errors.New("empty keys are not stored")

// ErrDone is returned when a transaction is used after it ended.
var ErrDone = errors.New("the transaction has ended")

// errKey marks bytes that are not a key part of the expected form.
var errKey = errors.New("not a key part of this form")

// U64 gives eight bytes that sort as the number does.
func U64(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// U32 gives four bytes that sort as the number does.
func U32(n uint32) []byte { return binary.BigEndian.AppendUint32(nil, n) }

// I64 gives eight bytes that sort as the number does, negative before positive.
func I64(n int64) []byte { return U64(uint64(n) ^ 1<<63) }

// CutU64 takes eight bytes written by U64 off the front of key.
func CutU64(key []byte) (n uint64, rest []byte, err error) {
	if len(key) < 8 {
		return 0, nil, errKey
	}
	return binary.BigEndian.Uint64(key), key[8:], nil
}

// CutI64 takes eight bytes written by I64 off the front of key.
func CutI64(key []byte) (n int64, rest []byte, err error) {
	u, rest, err := CutU64(key)
	return int64(u ^ 1<<63), rest, err
}

// Join puts parts of fixed width, or parts made by Str, behind one another.
func Join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// Str gives a part of any width that sorts as the string does and marks its
// own end, so that parts may follow: 0x00 becomes 0x00 0xff, the end is 0x00 0x01.
func Str[T ~string | ~[]byte](s T) []byte {
	b := make([]byte, 0, len(s)+2)
	for i := range len(s) {
		b = append(b, s[i])
		if s[i] == 0 {
			b = append(b, 0xff)
		}
	}
	return append(b, 0, 1)
}

// CutStr takes a part written by Str off the front of key.
func CutStr(key []byte) (s string, rest []byte, err error) {
	var b []byte
	for i := 0; i < len(key); i++ {
		if key[i] != 0 {
			b = append(b, key[i])
			continue
		}
		if i+1 >= len(key) {
			break
		}
		switch key[i+1] {
		case 1:
			return string(b), key[i+2:], nil
		case 0xff:
			b = append(b, 0)
			i++
		default:
			return "", nil, errKey
		}
	}
	return "", nil, errKey
}

// PrefixEnd gives the first key after all keys that begin with prefix, or nil
// (to the end) when there is none.
func PrefixEnd(prefix []byte) []byte {
	end := bytes.Clone(prefix)
	for i := len(end) - 1; i >= 0; i-- {
		if end[i] != 0xff {
			end[i]++
			return end[:i+1]
		}
	}
	return nil
}

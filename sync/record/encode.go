package record

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"unicode/utf8"

	"github.com/fxamacker/cbor/v2"

	"thudbook/sync/problem"
)

// Version is the envelope version that Seal writes. A higher version may add
// keys; it never changes what the keys of version 1 mean.
const Version = 1

// Limits of an envelope beside MaxBytes.
const (
	MaxAttachments = 128
	maxKind        = 64
	maxAuthor      = 128
	maxText        = 255 // role, media, name of an attachment
	maxNested      = 16
)

// hashPrefix separates record hashes from every other use of SHA-256.
const hashPrefix = "\x00rec1"

// Never changed after start; cbor modes are safe for concurrent use.
var (
	encMode  = must(encOptions().EncMode())
	decMode  = must(decOptions(cbor.TagsForbidden).DecMode())
	bodyMode = must(decOptions(cbor.TagsAllowed).DecMode())
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err) // the options are constants of this file
	}
	return v
}

func encOptions() cbor.EncOptions {
	o := cbor.CoreDetEncOptions()
	o.Time = cbor.TimeRFC3339Nano
	return o
}

func decOptions(tags cbor.TagsMode) cbor.DecOptions {
	return cbor.DecOptions{
		DupMapKey:         cbor.DupMapKeyEnforcedAPF,
		IndefLength:       cbor.IndefLengthForbidden,
		TagsMd:            tags,
		MaxNestedLevels:   maxNested,
		MaxArrayElements:  MaxBytes,
		MaxMapPairs:       MaxBytes,
		UTF8:              cbor.UTF8RejectInvalid,
		FieldNameMatching: cbor.FieldNameMatchingCaseSensitive,
	}
}

// Seal encodes an envelope and computes its hash. A zero Version is set to the
// current one. Errors are problems: invalid, or too_large above MaxBytes.
func Seal(e Envelope) (Record, error) {
	if e.Version == 0 {
		e.Version = Version
	}
	if err := check(&e); err != nil {
		return Record{}, err
	}
	raw, err := encMode.Marshal(e)
	if err != nil {
		return Record{}, invalid("the record cannot be encoded", err)
	}
	if len(raw) > MaxBytes {
		return Record{}, tooLarge(len(raw))
	}
	return Record{Envelope: e, Raw: raw, Hash: HashOf(raw)}, nil
}

// HashOf gives the hash of a record's exact bytes: SHA-256 over 0x00, "rec1"
// and the bytes.
func HashOf(raw []byte) Hash {
	h := sha256.New()
	h.Write([]byte(hashPrefix))
	h.Write(raw)
	return Hash(h.Sum(nil))
}

// Parse decodes the exact bytes of a record, strictly: deterministic CBOR,
// every limit kept, nothing behind the end. Keys it does not know are allowed
// and stay in Raw. The record keeps a copy of raw, of
// which Body may be a part. Errors are problems:
// invalid, or too_large above MaxBytes.
func Parse(raw []byte) (Record, error) {
	if len(raw) > MaxBytes {
		return Record{}, tooLarge(len(raw))
	}
	raw = bytes.Clone(raw)
	if e, ok := parseKnown(raw); ok {
		if err := check(&e); err != nil {
			return Record{}, err
		}
		return Record{Envelope: e, Raw: raw, Hash: HashOf(raw)}, nil
	}
	return parseAny(raw)
}

// parseAny reads every form that is allowed. The record keeps raw itself.
func parseAny(raw []byte) (Record, error) {
	var e Envelope
	if err := decMode.Unmarshal(raw, &e); err != nil {
		return Record{}, invalid("the bytes are not a record", err)
	}
	if err := check(&e); err != nil {
		return Record{}, err
	}
	again, err := encMode.Marshal(e)
	if err != nil {
		return Record{}, invalid("the bytes are not a record", err)
	}
	if !bytes.Equal(again, raw) {
		if err := checkExtended(raw, again); err != nil {
			return Record{}, err
		}
	}
	return Record{Envelope: e, Raw: raw, Hash: HashOf(raw)}, nil
}

// checkExtended accepts raw if it is deterministic CBOR and, without the keys
// that this version does not know, equal to known.
func checkExtended(raw, known []byte) error {
	var all map[any]any
	if err := decMode.Unmarshal(raw, &all); err != nil {
		return invalid("the bytes are not a record", err)
	}
	again, err := encMode.Marshal(all)
	if err != nil || !bytes.Equal(again, raw) {
		return invalid("the record is not in deterministic CBOR", err)
	}
	keepKeys(all, 14)
	if list, ok := all[uint64(14)].([]any); ok {
		for _, a := range list {
			if m, ok := a.(map[any]any); ok {
				keepKeys(m, 5)
			}
		}
	}
	if again, err = encMode.Marshal(all); err != nil || !bytes.Equal(again, known) {
		return invalid("a field of the record has the wrong type or length, or is missing", err)
	}
	return nil
}

// keepKeys removes every key but the integers 1 to top.
func keepKeys(m map[any]any, top uint64) {
	for k := range m {
		if n, ok := k.(uint64); !ok || n < 1 || n > top {
			delete(m, k)
		}
	}
}

func check(e *Envelope) error {
	var what string
	switch {
	case e.Version == 0:
		what = "the record has no version"
	case e.Node == [16]byte{}:
		what = "the record names no node"
	case e.Epoch == 0:
		what = "the record's epoch is zero; epochs count from 1"
	case e.Seq == 0:
		what = "the record's sequence number is zero; they count from 1"
	case e.Seq == 1 && e.Prev != Hash{}:
		what = "the first record of a chain names a previous one"
	case e.Seq > 1 && e.Prev == Hash{}:
		what = "the record names no previous one"
	case e.Kind == "" || !text(string(e.Kind), maxKind):
		what = fmt.Sprintf("the record's kind is empty, longer than %d bytes or no text", maxKind)
	case e.Author == "" || !text(e.Author, maxAuthor):
		what = fmt.Sprintf("the record's author is empty, longer than %d bytes or no text", maxAuthor)
	case len(e.Attachments) > MaxAttachments:
		what = fmt.Sprintf("the record has more than %d attachments", MaxAttachments)
	}
	if what != "" {
		return invalid(what, nil)
	}
	for i, a := range e.Attachments {
		if a.SHA256 == (Hash{}) || a.Size < 0 || !text(a.Role, maxText) || !text(a.Media, maxText) || !text(a.Name, maxText) {
			return invalid(fmt.Sprintf("attachment %d has no hash, a negative size or a text longer than %d bytes", i+1, maxText), nil)
		}
	}
	return nil
}

func text(s string, limit int) bool { return len(s) <= limit && utf8.ValidString(s) }

// EncodeBody encodes a struct with json tags as deterministic CBOR.
func EncodeBody(v any) ([]byte, error) {
	b, err := encMode.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encode body: %w", err)
	}
	return b, nil
}

// DecodeBody decodes CBOR into a struct with json tags. Unknown fields are
// skipped; fields that are absent keep what v holds. The error is a problem
// with code invalid.
func DecodeBody(b []byte, v any) error {
	if err := bodyMode.Unmarshal(b, v); err != nil {
		return invalid("the record's body cannot be read", err)
	}
	return nil
}

func invalid(what string, err error) error {
	return &problem.Error{Code: problem.Invalid, What: what,
		Fix: "send the record as its writer encoded it", Err: err}
}

func tooLarge(n int) error {
	return problem.New(problem.TooLarge,
		fmt.Sprintf("the record has %d bytes, more than the %d that one may have", n, MaxBytes),
		"put large content into attachments")
}

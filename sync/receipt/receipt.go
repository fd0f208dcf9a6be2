// Package receipt holds the signed statements that nodes make about heads of
// chains: a node signs the head that it hands over, a server signs what it has
// made durable. Every signature is bound to its purpose by a prefix, so that
// one kind of statement can never pass for another.
package receipt

import (
	"crypto/ed25519"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// The purposes that signatures are bound to.
const (
	purposeReceipt = "rcpt1"
	purposeHead    = "head1"
)

// Statement is what a server says about one chain: everything through Seq is
// in its durable store, and the record at Seq has this Hash. The bytes named
// by attachments are stored and checked for every record through
// CompleteThrough, which is at most Seq.
type Statement struct {
	Origin          record.Origin
	Seq             uint64
	Hash            record.Hash
	CompleteThrough uint64
	Server          record.NodeID
	Incarnation     uuid.UUID // changes when the server was restored from a backup
	TimeMS          int64     // the server's clock, milliseconds since 1970
}

// Receipt is a statement with the server's signature over it.
type Receipt struct {
	Statement
	Signature [ed25519.SignatureSize]byte
}

// Errors of Verify and UnmarshalBinary.
var (
	ErrSignature = errors.New("the signature does not belong to the server's key")
	ErrSize      = errors.New("a receipt has another size")
)

const (
	statementSize = 16 + 16 + 4 + 8 + 32 + 8 + 16 + 16 + 8
	receiptSize   = statementSize + ed25519.SignatureSize
)

// Head gives the place in the chain that the statement is about.
func (s *Statement) Head() record.Head { return record.Head{Seq: s.Seq, Hash: s.Hash} }

// Time gives the server's clock at the moment of signing.
func (s *Statement) Time() time.Time { return time.UnixMilli(s.TimeMS).UTC() }

// bytes gives the fixed layout that is signed and stored: node, lab, epoch,
// seq, hash, complete through, server, incarnation, time; big endian.
func (s *Statement) bytes() []byte {
	b := make([]byte, 0, receiptSize)
	b = appendOrigin(b, s.Origin)
	b = binary.BigEndian.AppendUint64(b, s.Seq)
	b = append(b, s.Hash[:]...)
	b = binary.BigEndian.AppendUint64(b, s.CompleteThrough)
	b = append(b, s.Server[:]...)
	b = append(b, s.Incarnation[:]...)
	return binary.BigEndian.AppendUint64(b, uint64(s.TimeMS))
}

func appendOrigin(b []byte, o record.Origin) []byte {
	b = append(b, o.Node[:]...)
	b = append(b, o.Lab[:]...)
	return binary.BigEndian.AppendUint32(b, o.Epoch)
}

// Sign makes a receipt. A server signs only what its store has committed.
func Sign(key ed25519.PrivateKey, s Statement) Receipt {
	r := Receipt{Statement: s}
	copy(r.Signature[:], ed25519.Sign(key, append([]byte(purposeReceipt), s.bytes()...)))
	return r
}

// Verify checks the signature against the server's key, and that the statement
// does not contradict itself.
func (r *Receipt) Verify(server ed25519.PublicKey) error {
	if len(server) != ed25519.PublicKeySize {
		return fmt.Errorf("a server key of %d bytes, want %d", len(server), ed25519.PublicKeySize)
	}
	if !ed25519.Verify(server, append([]byte(purposeReceipt), r.bytes()...), r.Signature[:]) {
		return ErrSignature
	}
	if r.CompleteThrough > r.Seq {
		return fmt.Errorf("a receipt for %d records calls %d complete", r.Seq, r.CompleteThrough)
	}
	return nil
}

// MarshalBinary gives the fixed layout followed by the signature.
func (r Receipt) MarshalBinary() ([]byte, error) {
	return append(r.bytes(), r.Signature[:]...), nil
}

// UnmarshalBinary reads what MarshalBinary wrote. It checks the size only; a
// receipt from outside needs Verify.
func (r *Receipt) UnmarshalBinary(b []byte) error {
	if len(b) != receiptSize {
		return fmt.Errorf("%w: %d bytes, want %d", ErrSize, len(b), receiptSize)
	}
	next := func(n int) []byte {
		part := b[:n]
		b = b[n:]
		return part
	}
	copy(r.Origin.Node[:], next(16))
	copy(r.Origin.Lab[:], next(16))
	r.Origin.Epoch = binary.BigEndian.Uint32(next(4))
	r.Seq = binary.BigEndian.Uint64(next(8))
	copy(r.Hash[:], next(32))
	r.CompleteThrough = binary.BigEndian.Uint64(next(8))
	copy(r.Server[:], next(16))
	copy(r.Incarnation[:], next(16))
	r.TimeMS = int64(binary.BigEndian.Uint64(next(8)))
	copy(r.Signature[:], next(ed25519.SignatureSize))
	return nil
}

// SignHead is a node's statement that its chain reaches this head.
func SignHead(key ed25519.PrivateKey, o record.Origin, h record.Head) []byte {
	return ed25519.Sign(key, headBytes(o, h))
}

// VerifyHead checks what SignHead made.
func VerifyHead(node ed25519.PublicKey, o record.Origin, h record.Head, signature []byte) bool {
	return len(node) == ed25519.PublicKeySize && ed25519.Verify(node, headBytes(o, h), signature)
}

func headBytes(o record.Origin, h record.Head) []byte {
	b := appendOrigin([]byte(purposeHead), o)
	b = binary.BigEndian.AppendUint64(b, h.Seq)
	return append(b, h.Hash[:]...)
}

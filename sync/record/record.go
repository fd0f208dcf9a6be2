// Package record is the envelope of every fact that Thudbook keeps: who wrote
// it, where in its chain it stands, what kind it is. A record is hashed, stored
// and forwarded as its exact bytes; nothing is ever re-encoded.
package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/hlc"
)

// NodeID names an installation (an agent or a server) with a key pair.
type NodeID = uuid.UUID

// LabID names a lab; the zero LabID marks a server-wide origin without lab content.
type LabID = uuid.UUID

// Origin names one append-only chain: what one node wrote for one lab in one epoch.
// An origin whose continuity was ever in doubt is never written again.
type Origin struct {
	Node  NodeID
	Lab   LabID
	Epoch uint32
}

// String gives "node/lab/epoch".
func (o Origin) String() string { return fmt.Sprintf("%s/%s/%d", o.Node, o.Lab, o.Epoch) }

// Hash is a SHA-256 sum.
type Hash [sha256.Size]byte

// String gives 64 hexadecimal digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// Kind names what a body holds; unknown kinds are kept and forwarded untouched.
type Kind string

// Attachment names bytes beside the log.
type Attachment struct {
	SHA256 Hash   `cbor:"1,keyasint"`
	Size   int64  `cbor:"2,keyasint"`
	Role   string `cbor:"3,keyasint"` // "source", "map", "photo", …
	Media  string `cbor:"4,keyasint"`
	Name   string `cbor:"5,keyasint,omitempty"` // original file name
}

// Envelope is what is encoded, in deterministic CBOR (RFC 8949, 4.2).
// FORMAT.md in the folder above is the specification of the bytes.
type Envelope struct {
	Version     uint         `cbor:"1,keyasint"`
	Node        [16]byte     `cbor:"2,keyasint"`
	Lab         [16]byte     `cbor:"3,keyasint"`
	Epoch       uint32       `cbor:"4,keyasint"`
	Seq         uint64       `cbor:"5,keyasint"` // from 1, dense
	Prev        Hash         `cbor:"6,keyasint"` // hash of the record before; zero at seq 1
	Clock       hlc.Time     `cbor:"7,keyasint"` // orders records; never dates a test
	WallNS      int64        `cbor:"8,keyasint"` // the node's own clock, evidence only
	Kind        Kind         `cbor:"9,keyasint"`
	Schema      uint         `cbor:"10,keyasint"` // version of the body's layout
	Author      string       `cbor:"11,keyasint"` // id of a person, or "node"
	UID         [16]byte     `cbor:"12,keyasint"` // of the shot, item, document the fact is about
	Body        []byte       `cbor:"13,keyasint"` // CBOR
	Attachments []Attachment `cbor:"14,keyasint,omitempty"`
}

// Record is an envelope with its exact bytes and their hash.
type Record struct {
	Envelope
	Raw  []byte
	Hash Hash
	// Branch is not part of the bytes: Rehomed.Open sets it on a record that
	// was carried over from a second history; 0: it stands in its own place.
	Branch uint64
}

// Origin gives the chain that the record belongs to.
func (e *Envelope) Origin() Origin { return Origin{Node: e.Node, Lab: e.Lab, Epoch: e.Epoch} }

// Ref is a place in a chain: (origin, seq).
type Ref struct {
	Origin Origin
	Seq    uint64
}

// Head is the end of a chain: its last sequence number and that record's hash.
// The zero Head is an empty chain.
type Head struct {
	Seq  uint64
	Hash Hash
}

// MaxBytes is the largest record; larger bytes belong into attachments.
const MaxBytes = 32 << 10

package exchange

import (
	"context"
	"io"

	"github.com/google/uuid"

	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// Protocols are the versions that this package speaks, in ascending order. Both
// sides list what they know; the highest common one is used. Version 2 has
// attachments in parts; with version 1 they go in one piece.
func Protocols() []uint { return []uint{1, 2} }

// withParts is the version from which on attachments may be cut.
const withParts = 2

// Limits that both sides keep.
const (
	MaxHashes       = 1000    // of one question about missing attachments
	MaxBatchBytes   = 8 << 20 // of record bytes in one batch
	BatchBytes      = 1 << 20 // of record bytes that a session starts with
	NonceSize       = 32
	MaxPartBytes    = 8 << 20 // of one part of an attachment
	maxBatchRecords = 1000
)

// Peer is the other side of a session. Every method may be repeated: the
// answer to a repetition is the same, and nothing is doubled. Errors carry a
// problem; a batch that does not fit the other side's chain comes back as a
// *HeadError.
type Peer interface {
	// Hello opens a session.
	Hello(ctx context.Context, q HelloRequest) (SignedWelcome, error)
	// Push appends records of one chain, in order, to the other side's copy.
	// The receipt comes only after they are durable there. It takes chains that
	// the caller wrote, and gives back to a server that was set back what it
	// wrote itself, up to a head that it signed.
	Push(ctx context.Context, b Batch) (receipt.Receipt, error)
	// Receipt gives the present statement about a chain that the caller wrote.
	Receipt(ctx context.Context, o record.Origin) (receipt.Receipt, error)
	// Pull gives records beyond a vector, about maxBytes of them; none when
	// nothing is left. Batches of one chain are in order.
	Pull(ctx context.Context, q PullRequest) ([]Batch, error)
	// HaveBlobs gives those whose bytes the other side lacks for a lab, and how
	// much of each is durable there already.
	HaveBlobs(ctx context.Context, lab record.LabID, refs []BlobRef) ([]Missing, error)
	// PutBlob hands over bytes; on return they are durable and checked there.
	PutBlob(ctx context.Context, lab record.LabID, b BlobRef, r io.Reader) error
	// PutPart hands over a part that begins at offset, at most MaxPartBytes, and
	// gives how many bytes are durable there then: b.Size once all are there,
	// checked. Where offset is not what the other side has, the error is an
	// *OffsetError. A part that was cut keeps what arrived of it.
	PutPart(ctx context.Context, lab record.LabID, b BlobRef, offset int64, r io.Reader) (int64, error)
	// GetBlob reads bytes of a lab from an offset on, and gives the size of the
	// whole. The caller closes, and checks the hash.
	GetBlob(ctx context.Context, lab record.LabID, h record.Hash, from int64) (io.ReadCloser, int64, error)
}

// BlobRef names bytes by their sum and their length.
type BlobRef struct {
	SHA256 record.Hash `json:"sha256"`
	Size   int64       `json:"size"`
}

// Missing is an attachment that the other side lacks.
type Missing struct {
	BlobRef
	Offset int64 // durable there already
}

// HeadEntry is one line of a vector.
type HeadEntry struct {
	Origin record.Origin `json:"origin"`
	Seq    uint64        `json:"seq"`
	Hash   record.Hash   `json:"hash"`
	// Signature is the writer's over this head (receipt.SignHead), in a welcome
	// for the chains that the server writes itself.
	Signature []byte `json:"signature,omitempty"`
}

// Head gives the place without the chain's name.
func (e HeadEntry) Head() record.Head { return record.Head{Seq: e.Seq, Hash: e.Hash} }

// Batch is a run of records of one chain, as their exact bytes.
type Batch struct {
	Origin  record.Origin
	Records [][]byte
	// HeadSignature is the writer's signature over the head that the chain has
	// after this batch (receipt.SignHead). Pulled batches carry none: their
	// heads are signed in the welcome.
	HeadSignature []byte
}

// HelloRequest is what a node says of itself at the start of a session.
type HelloRequest struct {
	Protocols []uint        `json:"protocols"`
	Node      record.NodeID `json:"node"`
	Nonce     []byte        `json:"nonce"` // NonceSize random bytes; the answer is signed over them
	Heads     []HeadEntry   `json:"heads"` // of the chains that the node writes
	// Receipts are the newest that the node has of this server: by them a
	// server sees that it was set back.
	Receipts       []receipt.Receipt `json:"receipts,omitempty"`
	PendingRecords int64             `json:"pending_records"`
	PendingBytes   int64             `json:"pending_bytes"`
	TimeMS         int64             `json:"time_ms"` // the node's own clock
	Software       string            `json:"software"`
	Rekey          *Rekey            `json:"rekey,omitempty"` // the node wants to go on with another key

	// Since version 2; left out where there is nothing to tell.
	PendingAttachments int64  `json:"pending_attachments,omitempty"`
	OldestPendingMS    int64  `json:"oldest_pending_ms,omitempty"` // by the node's own clock
	Stuck              string `json:"stuck,omitempty"`             // why the session before this one failed, in words
	ServerNext         []byte `json:"server_next,omitempty"`       // the server's key to come, as the node pinned it
}

// Welcome is the server's answer to a hello.
type Welcome struct {
	Protocol      uint              `json:"protocol"`
	Server        record.NodeID     `json:"server"`
	Incarnation   uuid.UUID         `json:"incarnation"`
	TimeMS        int64             `json:"time_ms"`
	Labs          []record.LabID    `json:"labs"`              // that the node may write and read
	Aliases       []Alias           `json:"aliases,omitempty"` // which of Labs are other names of which
	Vector        []HeadEntry       `json:"vector"`            // of all chains of these labs
	Receipts      []receipt.Receipt `json:"receipts"`          // for the chains that the node wrote
	MaxBatchBytes int               `json:"max_batch_bytes"`
	MaxBlobBytes  int64             `json:"max_blob_bytes"`
	NodeKey       []byte            `json:"node_key,omitempty"`     // that the node's signatures are checked by from now on
	ServerRekey   *Rekey            `json:"server_rekey,omitempty"` // the server will go on with another key
}

// Alias says that records under one lab's id belong to another lab: an agent
// wrote them before it was enrolled.
type Alias struct {
	Local record.LabID  `json:"local"`
	Lab   record.LabID  `json:"lab"`
	Node  record.NodeID `json:"node"`
}

// PullRequest asks for what lies beyond a vector.
type PullRequest struct {
	Vector   []HeadEntry     `json:"vector"`
	Exclude  []record.Origin `json:"exclude"`        // chains that are not wanted now
	Labs     []record.LabID  `json:"labs,omitempty"` // nothing of others; none: of all that the node may read
	MaxBytes int             `json:"max_bytes"`
}

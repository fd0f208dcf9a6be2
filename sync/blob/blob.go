// Package blob is the seam to bytes beside the log: acquisition files, photos,
// maps, each under its SHA-256. What is stored is never
// changed, and removed only where a record says that it is erased.
package blob

import (
	"context"
	"io"
	"iter"

	"thudbook/sync/record"
)

// Ref names stored bytes.
type Ref struct {
	SHA256 record.Hash
	Size   int64
}

// Reader reads stored bytes.
type Reader interface {
	io.ReadSeekCloser
	io.ReaderAt
}

// Store keeps bytes by their hash. It is safe for concurrent use. Errors meant
// for people are problems: not_found, damaged, too_large, unavailable.
type Store interface {
	// Put streams r to its end, at most limit bytes (0: no limit), and returns
	// when the bytes are durable. Bytes that are already there are not stored
	// twice; a damaged copy is moved aside and replaced.
	Put(ctx context.Context, r io.Reader, limit int64) (Ref, error)
	// PutExpect is Put for bytes whose hash and size are known. If r turns out
	// to hold something else, that is moved to quarantine, and the problem has
	// code damaged. If a good copy is there, r may be left unread.
	PutExpect(ctx context.Context, want record.Hash, size int64, r io.Reader) error
	// Append adds to a transfer that may be cut and taken up again: bytes from
	// offset on, which must be what is there already. It gives how many bytes
	// are durable, beside an error too; that is want.Size once all are there,
	// checked against their hash and stored. An offset that does not fit is a
	// problem with code conflict; bytes that turn out to be others are moved to
	// quarantine, the transfer begins anew, and the problem has code damaged.
	// A reader's error keeps what came before it. Transfers of one hash in
	// different scopes (digits, small letters, hyphens) know nothing of each
	// other; of two in one scope the one that came last goes on. proved may be
	// nil; it is called when the bytes are all there and right, before they are
	// stored, and stops that with its error.
	Append(ctx context.Context, scope string, want Ref, offset int64, r io.Reader, proved func() error) (int64, error)
	// Partial tells how many bytes of a transfer are durable; 0 for none.
	Partial(ctx context.Context, scope string, want Ref) (int64, error)
	// Open gives the bytes and their number. Read from start to end without
	// Seek, the hash is checked: the last Read gives a problem with code
	// damaged instead of io.EOF if the bytes are not those that were stored.
	// ReadAt checks nothing: it is for who hands them to somebody who does.
	Open(ctx context.Context, h record.Hash) (Reader, int64, error)
	// Has tells whether bytes are there, and how many, without reading them.
	Has(ctx context.Context, h record.Hash) (bool, int64, error)
	// List gives all refs in ascending order of their hash.
	List(ctx context.Context) iter.Seq2[Ref, error]
	// Remove erases bytes for good: those that are stored, those of transfers and
	// copies that were moved aside. It returns when that is durable; bytes that
	// are not there are no error. Who calls it has made durable before that they
	// are erased: with a crash between the two it is called again.
	Remove(ctx context.Context, h record.Hash) error
	// Verify reads the bytes: nil, or a problem with code not_found or damaged.
	Verify(ctx context.Context, h record.Hash) error
}

// Quarantined is something that was moved aside because it is not what its
// name or sender said.
type Quarantined struct {
	Name string
	Size int64
}

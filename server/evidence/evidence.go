// Package evidence gives out the acquisition's bytes within rights. Bytes are
// stored once under their sum, but each lab has to bring them itself: a record
// that names the sum of another lab's file opens nothing.
package evidence

import (
	"context"
	"io"

	"thudbook/sync/blob"
	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Store reads bytes for labs.
type Store struct {
	Blobs   blob.Store
	Service *exchange.Service
}

// Of gives the store as one lab sees it, by the id that the record naming the
// bytes was written under. It serves Put, Open and Has, which answer for bytes
// that the lab holds, as not found for all others.
func (s *Store) Of(lab record.LabID) blob.Store { return &held{Store: s.Blobs, s: s, lab: lab} }

// Holds says whether a lab holds the bytes.
func (s *Store) Holds(ctx context.Context, lab record.LabID, sum record.Hash) (bool, error) {
	return s.Service.Holds(ctx, lab, sum)
}

type held struct {
	blob.Store
	s   *Store
	lab record.LabID
}

// Open gives bytes that the lab holds.
func (h *held) Open(ctx context.Context, sum record.Hash) (blob.Reader, int64, error) {
	ok, err := h.s.Holds(ctx, h.lab, sum)
	if err != nil {
		return nil, 0, err
	}
	if !ok {
		return nil, 0, missing(sum)
	}
	return h.Store.Open(ctx, sum)
}

// Put stores bytes for the lab.
func (h *held) Put(ctx context.Context, r io.Reader, limit int64) (blob.Ref, error) {
	ref, err := h.Store.Put(ctx, r, limit)
	if err == nil {
		err = h.s.Service.Hold(ctx, h.lab, ref.SHA256, ref.Size)
	}
	return ref, err
}

// Has tells whether the lab holds the bytes, and how many there are.
func (h *held) Has(ctx context.Context, sum record.Hash) (bool, int64, error) {
	ok, err := h.s.Holds(ctx, h.lab, sum)
	if err != nil || !ok {
		return false, 0, err
	}
	return h.Store.Has(ctx, sum)
}

func missing(sum record.Hash) error {
	return &problem.Error{Code: problem.NotFound, What: "The original bytes are still on the rig PC; they have not arrived here yet.",
		Where: sum.String(), Fix: "They come by themselves the next time its agent reaches this server."}
}

package exchange

import (
	"context"

	"thudbook/sync/record"
)

// StoreComplete notes that all attachments up to a record are held.
func StoreComplete(ctx context.Context, s *Service, o record.Origin, at record.Head) error {
	return s.storeComplete(ctx, o, at)
}

// ShownIn gives the hash of a record that a server was asked to show.
func ShownIn(batches []Batch, o record.Origin, seq uint64) (record.Hash, bool, error) {
	return shownIn(batches, o, seq)
}

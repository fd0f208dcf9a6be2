package exchange

import (
	"context"

	"thudbook/sync/record"
)

// StoreComplete notes that all attachments up to a record are held.
func StoreComplete(ctx context.Context, s *Service, o record.Origin, at record.Head) error {
	return s.storeComplete(ctx, o, at)
}

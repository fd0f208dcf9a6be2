package account

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
)

// Principal gives an account as a reader sees it; ok is false when it does not
// exist or is shut out.
func (s *Store) Principal(ctx context.Context, id uuid.UUID) (p Principal, ok bool, err error) {
	err = s.kv.View(ctx, func(r kv.Reader) error {
		a, found, err := s.accounts.Get(r, id[:])
		if err == nil && found && !a.Disabled {
			p, ok = principal(a), true
		}
		return err
	})
	return p, ok, err
}

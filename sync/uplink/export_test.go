package uplink

import (
	"context"

	"thudbook/sync/kv"
)

// Settle does what an enrolment ends with, without a network.
func Settle(ctx context.Context, u *Uplink, s Settings) error {
	if err := u.o.Store.Update(ctx, func(tx kv.Tx) error { return save(tx, serverKey, &s) }); err != nil {
		return err
	}
	u.adopt(&s)
	return nil
}

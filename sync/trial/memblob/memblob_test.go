package memblob_test

import (
	"testing"

	"thudbook/sync/blob"
	"thudbook/sync/blob/blobtest"
	"thudbook/sync/trial/memblob"
)

// A trial on this store says something only if the store is what the seam says.
func TestConforms(t *testing.T) {
	blobtest.Run(t, func(testing.TB) blob.Store { return &memblob.Store{} })
}

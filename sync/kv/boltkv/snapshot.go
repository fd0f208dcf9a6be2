package boltkv

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	bolt "go.etcd.io/bbolt"

	"thudbook/sync/kv"
)

// Snapshot writes the whole file as one transaction sees it to w, after fn has
// read on the same transaction (nil: nothing to read). It keeps bbolt from
// reusing pages meanwhile, and stops no writer: w must take bytes at the speed
// of memory or of a local disk.
func (s *Store) Snapshot(ctx context.Context, w io.Writer, fn func(kv.Reader) error) error {
	var btx *bolt.Tx
	return s.View(ctx, func(r kv.Reader) error {
		if fn != nil {
			if err := fn(r); err != nil {
				return err
			}
		}
		btx = r.(*tx).btx
		if _, err := btx.WriteTo(untilDone{ctx, w}); err != nil {
			return fmt.Errorf("copy the pages of %s: %w", s.path, err)
		}
		return nil
	})
}

// untilDone ends a copy when its context does.
type untilDone struct {
	ctx context.Context
	w   io.Writer
}

func (u untilDone) Write(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.w.Write(p)
}

// Compact writes what the store at path holds into a fresh file, compares the
// two entry by entry, and gives the fresh one the store's name. The lock is held
// throughout. Killed at any instant it leaves the old file or the new one, whole,
// under the name; a part that was left is removed by a later creation or Compact.
// It gives the sizes before and after, in bytes.
func Compact(ctx context.Context, path string) (before, after int64, err error) {
	defer recoverDamage(path, &err)
	defer catchFaults()()
	if err := refuseNetwork(path); err != nil {
		return 0, 0, err
	}
	src, err := open(path, Options{})
	if err != nil {
		return 0, 0, err
	}
	open := true
	defer func() {
		if open {
			err = errors.Join(err, src.Close())
		}
	}()
	sweepOlder(path, 0) // the lock is ours: nobody else is making one
	part := partName(path)
	if err := rewrite(ctx, src, part); err != nil {
		return 0, 0, errors.Join(cannotCompact(path, err), removePart(part))
	}
	before, after = size(path), size(part)
	if swapNeedsClose {
		open = false
		if err := src.Close(); err != nil {
			return 0, 0, errors.Join(err, removePart(part))
		}
	}
	return before, after, replace(part, path)
}

// rewrite makes the compacted file and proves that it holds the same.
func rewrite(ctx context.Context, src *bolt.DB, part string) error {
	dst, err := bolt.Open(part, 0o600, &bolt.Options{FreelistType: bolt.FreelistMapType, Timeout: 2 * time.Second, NoSync: true})
	if err != nil {
		return err
	}
	err = bolt.Compact(dst, src, 4<<20)
	if err == nil {
		err = sameEntries(ctx, src, dst)
	}
	return errors.Join(err, dst.Sync(), dst.Close())
}

package boltkv

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	bolt "go.etcd.io/bbolt"

	"thudbook/sync/durable"
	"thudbook/sync/problem"
)

// swapNeedsClose: an open file can neither be renamed nor replaced there.
const swapNeedsClose = runtime.GOOS == "windows"

func partName(path string) string { return path + partMark + rand.Text() }

func removePart(part string) error {
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func size(path string) int64 {
	fi, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return fi.Size()
}

// replace gives a synced file the name of another one.
func replace(part, path string) error {
	if err := durable.Rename(part, path); err != nil {
		return cannotCompact(path, errors.Join(err, removePart(part)))
	}
	return durable.SyncDir(filepath.Dir(path))
}

func cannotCompact(path string, err error) error {
	if problem.Of(err) != problem.Internal || errors.Is(err, context.Canceled) {
		return err
	}
	return &problem.Error{Code: problem.Unavailable, What: "the store could not be compacted; it is as it was", Where: path,
		Fix: "see that the disk has room for a second copy and is writable", Err: err}
}

// sameEntries compares two files bucket by bucket, entry by entry.
func sameEntries(ctx context.Context, a, b *bolt.DB) error {
	return a.View(func(ta *bolt.Tx) error {
		return b.View(func(tb *bolt.Tx) error {
			n := 0
			err := ta.ForEach(func(name []byte, ba *bolt.Bucket) error {
				n++
				bb := tb.Bucket(name)
				if bb == nil {
					return fmt.Errorf("table %s is missing in the compacted file", name)
				}
				return sameBucket(ctx, name, ba, bb)
			})
			if err != nil {
				return err
			}
			return tb.ForEach(func(name []byte, _ *bolt.Bucket) error {
				if n--; n < 0 {
					return fmt.Errorf("table %s is new in the compacted file", name)
				}
				return nil
			})
		})
	})
}

func sameBucket(ctx context.Context, name []byte, a, b *bolt.Bucket) error {
	ca, cb := a.Cursor(), b.Cursor()
	ka, va := ca.First()
	kb, vb := cb.First()
	for ka != nil || kb != nil {
		if err := ctx.Err(); err != nil {
			return err
		}
		if !bytes.Equal(ka, kb) || !bytes.Equal(va, vb) {
			return fmt.Errorf("table %s differs at key %x in the compacted file", name, ka)
		}
		ka, va = ca.Next()
		kb, vb = cb.Next()
	}
	return nil
}

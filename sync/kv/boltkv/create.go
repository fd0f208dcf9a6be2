package boltkv

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	bolt "go.etcd.io/bbolt"

	"thudbook/sync/durable"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

// The file's own bucket: which layout the store has.
const (
	formatTable   kv.Table = "boltkv.format"
	formatKey              = "layout"
	formatVersion          = "1"
	partMark               = ".new-"
	partAge                = time.Hour
)

// createMissing makes an empty store at path if nothing is there.
func createMissing(path string) error {
	switch _, err := os.Lstat(path); {
	case err == nil:
		return nil
	case !errors.Is(err, fs.ErrNotExist):
		return cannotCreate(path, err)
	}
	sweep(path)
	part := partName(path)
	if err := build(part); err != nil {
		return cannotCreate(path, errors.Join(err, os.Remove(part)))
	}
	if err := publish(part, path); err != nil {
		return cannotCreate(path, err)
	}
	return nil
}

func cannotCreate(path string, err error) error {
	return &problem.Error{Code: problem.Unavailable, What: "the store cannot be created", Where: path,
		Fix: "check that the folder is there, writable and not full", Err: err}
}

// build makes a whole store under a name that nobody opens: first commit,
// close, sync.
func build(part string) error {
	db, err := bolt.Open(part, 0o600, &bolt.Options{FreelistType: bolt.FreelistMapType})
	if err != nil {
		return err
	}
	err = db.Update(func(tx *bolt.Tx) error {
		b, err := tx.CreateBucket([]byte(formatTable))
		if err != nil {
			return err
		}
		return b.Put([]byte(formatKey), []byte(formatVersion))
	})
	if err = errors.Join(err, db.Close()); err != nil {
		return err
	}
	f, err := os.OpenFile(part, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// publish gives the file its name, never in place of another one: whoever
// comes second uses what the first one made.
func publish(part, path string) error {
	err := durable.RenameNew(part, path)
	switch {
	case err == nil:
	case errors.Is(err, fs.ErrExist):
		err = os.Remove(part)
	default: // that cannot be done here (FAT): the lock of the parent process decides races
		err = durable.Rename(part, path)
	}
	return errors.Join(err, durable.SyncDir(filepath.Dir(path)))
}

// sweep removes leftovers of creations that never finished; they hold no data.
func sweep(path string) { sweepOlder(path, partAge) }

func sweepOlder(path string, age time.Duration) {
	parts, err := filepath.Glob(path + partMark + "*")
	if err != nil {
		return
	}
	for _, p := range parts {
		if fi, err := os.Stat(p); err == nil && time.Since(fi.ModTime()) >= age {
			_ = os.Remove(p) // it stays for the next time
		}
	}
}

// checkFormat refuses files that are bbolt's but not ours, and layouts that
// this program does not know.
func checkFormat(db *bolt.DB) error {
	return db.View(func(tx *bolt.Tx) error {
		b := tx.Bucket([]byte(formatTable))
		if b == nil {
			return errors.New("it has no layout mark: not a store of this program, or its start is lost")
		}
		if v := string(b.Get([]byte(formatKey))); v != formatVersion {
			return fmt.Errorf("layout %q is not known to this version", v)
		}
		return nil
	})
}

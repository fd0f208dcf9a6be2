// Package durable gives files their names so that they survive a power cut:
// the bytes are synced first, the name is given in one step, and then the folder
// is synced. On Windows a name that another program holds for a moment (a virus
// scanner, an index) is tried again for up to two seconds.
package durable

import (
	"crypto/rand"
	"errors"
	"os"
	"path/filepath"
)

// Rename gives a synced file another name, in place of a file that has it. The
// folder is not synced: see SyncDir.
func Rename(from, to string) error { return rename(from, to) }

// RenameNew gives a synced file another name, which must be free: otherwise the
// error is fs.ErrExist. The folder is not synced: see SyncDir.
func RenameNew(from, to string) error { return renameNew(from, to) }

// SyncDir makes names in a folder durable. Windows has no such call; there the
// journal of the file system keeps names in order, and Rename waits for it.
func SyncDir(dir string) error { return syncDir(dir) }

// Replace writes a small file that only its owner may read: after a power cut
// either what was there before or b is there, whole.
func Replace(path string, b []byte) error {
	part, err := write(path, b)
	if err != nil {
		return err
	}
	if err := Rename(part, path); err != nil {
		return errors.Join(err, os.Remove(part))
	}
	return SyncDir(filepath.Dir(path))
}

// Create is Replace for a name that must be free: otherwise the error is fs.ErrExist.
func Create(path string, b []byte) error {
	part, err := write(path, b)
	if err != nil {
		return err
	}
	if err := RenameNew(part, path); err != nil {
		return errors.Join(err, os.Remove(part))
	}
	return SyncDir(filepath.Dir(path))
}

// write writes and syncs a file beside path.
func write(path string, b []byte) (part string, err error) {
	part = path + ".new-" + rand.Text()
	f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return "", errors.Join(err, os.Remove(part))
	}
	return part, nil
}

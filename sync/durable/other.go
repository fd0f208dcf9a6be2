//go:build !windows

package durable

import (
	"errors"
	"os"
)

func rename(from, to string) error { return os.Rename(from, to) }

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// linkNew gives a file a second name, which fails if it is taken, and then
// removes the first.
func linkNew(from, to string) error {
	if err := os.Link(from, to); err != nil {
		return err
	}
	return os.Remove(from)
}

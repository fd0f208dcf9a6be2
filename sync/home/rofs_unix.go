//go:build unix

package home

import (
	"errors"
	"syscall"
)

// readOnlyFS tells that a file system cannot be written at all.
func readOnlyFS(err error) bool { return errors.Is(err, syscall.EROFS) }

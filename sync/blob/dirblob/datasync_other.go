//go:build !linux

package dirblob

import "os"

// syncFile makes a file's bytes durable.
func syncFile(f *os.File) error { return f.Sync() }

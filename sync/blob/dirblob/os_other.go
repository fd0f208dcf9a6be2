//go:build !linux

package dirblob

import "os"

// syncFile makes a file's bytes durable.
func syncFile(f *os.File) error { return f.Sync() }

// renameNew renames without ever replacing: fs.ErrExist if the name is taken.
func renameNew(from, to string) error { return linkNew(from, to) }

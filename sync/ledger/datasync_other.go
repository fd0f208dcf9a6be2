//go:build !linux

package ledger

import "os"

// dataSync makes bytes that were written in place durable.
func dataSync(f *os.File) error { return f.Sync() }

//go:build !linux && !windows

package durable

func renameNew(from, to string) error { return linkNew(from, to) }

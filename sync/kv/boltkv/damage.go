package boltkv

import (
	"bytes"
	"errors"
	"fmt"
	"runtime"
	"runtime/debug"

	"thudbook/sync/problem"
)

func damaged(path string, cause error) error {
	return &problem.Error{Code: problem.Damaged, What: "the store is damaged; nothing was changed", Where: path,
		Fix: "keep the file, run verify, and restore from a backup or from the server", Err: cause}
}

// catchFaults makes a fault in the memory map (a file cut short) a panic of
// this goroutine that can be recovered; the result puts the old setting back.
func catchFaults() (restore func()) {
	old := debug.SetPanicOnFault(true)
	return func() { debug.SetPanicOnFault(old) }
}

// recoverDamage turns a panic out of bbolt into a problem. Any other panic is
// a mistake in the program and goes on.
func recoverDamage(path string, err *error) {
	r := recover()
	if r == nil {
		return
	}
	if !fromStore(r, debug.Stack()) {
		panic(r)
	}
	*err = damaged(path, pageFault(r))
}

// pageFault says what a panic out of bbolt means: the text of the runtime is not
// for people.
func pageFault(r any) error {
	if _, ok := r.(runtime.Error); ok {
		return errors.New("one of its pages leads nowhere: the file is cut short, or part of it was overwritten")
	}
	return fmt.Errorf("%v", r)
}

// fromStore tells whether a panic rose out of bbolt, or is a fault of the
// memory map met by code that copied bytes out of it.
func fromStore(r any, stack []byte) bool {
	if f, ok := r.(interface{ Addr() uintptr }); ok && f.Addr() != 0 {
		return true
	}
	return bytes.Contains(stack, []byte("go.etcd.io/bbolt"))
}

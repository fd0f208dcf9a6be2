package dirblob

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// syncFile makes a file's bytes and size durable.
func syncFile(f *os.File) error {
	for {
		err := unix.Fdatasync(int(f.Fd()))
		if !errors.Is(err, unix.EINTR) {
			return os.NewSyscallError("fdatasync", err)
		}
	}
}

// renameNew renames without ever replacing: fs.ErrExist if the name is taken.
func renameNew(from, to string) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, unix.RENAME_NOREPLACE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) {
		return linkNew(from, to) // this file system cannot do it in one step
	}
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return nil
}

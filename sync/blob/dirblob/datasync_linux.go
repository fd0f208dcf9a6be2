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

package ledger

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// dataSync makes bytes that were written in place durable.
func dataSync(f *os.File) error {
	for {
		err := unix.Fdatasync(int(f.Fd()))
		if !errors.Is(err, unix.EINTR) {
			return os.NewSyscallError("fdatasync", err)
		}
	}
}

package durable

import (
	"errors"
	"os"
	"time"

	"golang.org/x/sys/windows"
)

func rename(from, to string) error {
	return move(from, to, windows.MOVEFILE_REPLACE_EXISTING|windows.MOVEFILE_WRITE_THROUGH)
}

func renameNew(from, to string) error { return move(from, to, windows.MOVEFILE_WRITE_THROUGH) }

func syncDir(string) error { return nil }

// patience is how long another program may hold a file: scanners let go within
// a second (common practice, no published figure).
const patience = 2 * time.Second

func move(from, to string, flags uint32) error {
	a, err := windows.UTF16PtrFromString(from)
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	b, err := windows.UTF16PtrFromString(to)
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	wait := 5 * time.Millisecond
	for began := time.Now(); ; wait = min(2*wait, 200*time.Millisecond) {
		if err = windows.MoveFileEx(a, b, flags); err == nil {
			return nil
		}
		if !held(err) || time.Since(began) > patience {
			return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
		}
		time.Sleep(wait)
	}
}

// held tells whether somebody has the file open. A name that is open in another
// program gives "access denied" when it is to be replaced.
func held(err error) bool {
	return errors.Is(err, windows.ERROR_SHARING_VIOLATION) || errors.Is(err, windows.ERROR_LOCK_VIOLATION) ||
		errors.Is(err, windows.ERROR_ACCESS_DENIED) || errors.Is(err, windows.ERROR_USER_MAPPED_FILE)
}

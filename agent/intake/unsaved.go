package intake

import (
	"errors"
	"os"
	"time"

	"thudbook/sync/problem"
)

// unsaved is why the bytes of the last file could not be stored.
type unsaved struct {
	err   error
	tried time.Time // when the disk was tried last
}

// tryDisk is how often a disk that failed is tried, while somebody looks.
const tryDisk = 2 * time.Second

// Unsaved tells why the bytes of the last file could not be stored, as on a disk
// that was taken away; nil when they could, or when the disk can be written again.
func (in *Intake) Unsaved() error {
	in.mu.Lock()
	defer in.mu.Unlock()
	u := &in.unsaved
	if u.err != nil && time.Since(u.tried) >= tryDisk {
		if u.tried = time.Now(); writable(in.opt.Data) == nil {
			u.err = nil
		}
	}
	return u.err
}

// stored keeps what became of the bytes of a file, for the screen. A sender who
// broke off says nothing of the disk.
func (in *Intake) stored(err error) {
	p, ok := problem.As(err)
	switch {
	case err == nil:
	case ok && p.Code == problem.Unavailable && p.Err != nil:
		err = &problem.Error{Code: p.Code, What: "The bytes of a file could not be stored, and nothing of it was acknowledged: " + p.Err.Error() + ".",
			Fix: "Check that the disk is there, has room and may be written; the system log says whether it failed. A file in a watched folder waits there; one that was posted is to be sent again.", Err: p.Err}
	default:
		return
	}
	in.mu.Lock()
	defer in.mu.Unlock()
	in.unsaved = unsaved{err: err, tried: time.Now()}
}

// writable tries whether bytes can be made durable in a folder.
func writable(dir string) error {
	f, err := os.CreateTemp(dir, ".trial-")
	if err != nil {
		return err
	}
	_, err = f.Write(make([]byte, 4096))
	return errors.Join(err, f.Sync(), f.Close(), os.Remove(f.Name()))
}

//go:build linux || darwin || freebsd

package home

import "golang.org/x/sys/unix"

// DiskFree gives the bytes that this user can still write where path lies.
func DiskFree(path string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(path, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}

package boltkv

import (
	"path/filepath"

	"golang.org/x/sys/unix"

	"thudbook/sync/problem"
)

// refuseNetwork refuses file systems whose locks and memory maps cannot be
// trusted. The numbers are those of statfs(2).
func refuseNetwork(path string) error {
	var st unix.Statfs_t
	if err := unix.Statfs(filepath.Dir(path), &st); err != nil {
		return nil // creating the file gives the better error
	}
	name := ""
	switch uint32(st.Type) {
	case unix.NFS_SUPER_MAGIC:
		name = "NFS"
	case unix.SMB_SUPER_MAGIC, unix.SMB2_SUPER_MAGIC, unix.CIFS_SUPER_MAGIC:
		name = "SMB"
	case unix.FUSE_SUPER_MAGIC:
		name = "FUSE"
	default:
		return nil
	}
	return &problem.Error{Code: problem.Invalid, What: "the store may not lie on a " + name + " file system: locks and memory maps cannot be trusted there",
		Where: path, Fix: "choose a folder on a local disk; the watched folder may be remote"}
}

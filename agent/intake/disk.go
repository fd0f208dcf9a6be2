package intake

import "thudbook/sync/home"

// DiskFree gives the bytes that this user can still write where path lies.
func DiskFree(path string) (int64, error) { return home.DiskFree(path) }

package dirblob

import (
	"errors"

	"golang.org/x/sys/windows"
)

func diskSpace(path string) (free, total int64, err error) {
	p, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return 0, 0, err
	}
	var mine, all, unused uint64
	if err := windows.GetDiskFreeSpaceEx(p, &mine, &all, &unused); err != nil {
		return 0, 0, err
	}
	return int64(mine), int64(all), nil
}

func isNoSpace(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL)
}

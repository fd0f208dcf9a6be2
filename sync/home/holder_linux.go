package home

import (
	"bufio"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// Holder gives the process that holds a lock on a file, 0 if that cannot be told.
func Holder(path string) int {
	fi, err := os.Stat(path)
	if err != nil {
		return 0
	}
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok {
		return 0
	}
	f, err := os.Open("/proc/locks")
	if err != nil {
		return 0
	}
	defer f.Close()
	// 1: FLOCK  ADVISORY  WRITE 708 00:2d:123456 0 EOF; the device may be one
	// that the file system does not show, so the file's number decides.
	inode := fmt.Sprintf(":%d", st.Ino)
	for lines := bufio.NewScanner(f); lines.Scan(); {
		w := strings.Fields(lines.Text())
		if len(w) < 8 || w[1] == "->" || !strings.HasSuffix(w[5], inode) {
			continue
		}
		if pid, err := strconv.Atoi(w[4]); err == nil && pid > 0 {
			return pid
		}
	}
	return 0
}

//go:build unix

package main

import (
	"os/exec"
	"syscall"
)

// ownGroup puts a command into a process group of its own.
func ownGroup(c *exec.Cmd) { c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

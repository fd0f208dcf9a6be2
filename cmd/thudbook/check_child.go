package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"time"

	"thudbook/sync/home"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

// childMark tells a test binary that it is to be the program.
const childMark = "THUDBOOK_CHILD"

// checkChild runs the check of a place in a process of its own and passes on
// what it prints. A store can be damaged so that reading it ends the process or
// never ends; that too is an answer.
func checkChild(a *app, p home.Place, within time.Duration, quick bool) (code int, err error) {
	exe, err := os.Executable()
	if err != nil {
		return 0, err
	}
	args := []string{"check", "--data", p.Dir, "--store", p.Store, "--blobs", p.Blobs, "--temp", p.Temp}
	if p.NoAnchor {
		args = append(args, "--no-anchor")
	} else {
		args = append(args, "--anchor", p.Anchor)
	}
	if quick {
		args = append(args, "--quick")
	}
	ctx, cancel := context.WithTimeout(a.Ctx, within)
	defer cancel()
	cmd := exec.CommandContext(ctx, exe, args...)
	cmd.Env = append(os.Environ(), childMark+"=1", "GOTRACEBACK=single")
	var errOut bytes.Buffer
	cmd.Stdout, cmd.Stderr = a.Out, &errOut
	err = cmd.Run()
	code = cmd.ProcessState.ExitCode()
	switch {
	case a.Ctx.Err() != nil:
		return 0, a.Ctx.Err()
	case ctx.Err() != nil:
		return 0, &problem.Error{Code: problem.Damaged, What: fmt.Sprintf("the check did not end within %s", within), Where: p.Store,
			Fix: "give a large store more time with --within; else it is damaged so that reading it goes in circles: keep it, and restore a backup into another folder"}
	case code < 0 || crashed(errOut.String()):
		a.Log.Debug("the check broke off", "output", errOut.String())
		return 0, &problem.Error{Code: problem.Damaged, What: "the store is damaged so badly that reading it broke off the check", Where: p.Store,
			Fix: "keep it as it is, and restore a backup into another folder, or let the other nodes send the records again"}
	case err != nil && cmd.ProcessState == nil:
		return 0, err
	}
	_, err = io.Copy(a.Err, &errOut)
	return code, err
}

// crashed tells the end of a program that met what it did not expect.
func crashed(errOut string) bool {
	return strings.Contains(errOut, "panic:") || strings.Contains(errOut, "fatal error:") || strings.Contains(errOut, "goroutine ")
}

// inWords writes an error, and each one that was joined to it, as a sentence.
func inWords(err error) string {
	if errors.Is(err, context.Canceled) {
		return "stopped on request"
	}
	if j, ok := err.(interface{ Unwrap() []error }); ok {
		var all []string
		for _, e := range j.Unwrap() {
			all = append(all, inWords(e))
		}
		return strings.Join(all, "\n  and: ")
	}
	p, ok := err.(*problem.Error)
	if !ok {
		return err.Error()
	}
	s := p.What
	if p.Where != "" {
		s += " (" + p.Where + ")"
	}
	s = strings.TrimSuffix(s, ".") + "."
	if p.Fix != "" {
		s += " To mend it: " + strings.TrimSuffix(p.Fix, ".") + "."
	}
	if p.Err != nil && !errors.Is(p.Err, kv.ErrLocked) {
		s += " (" + strings.ReplaceAll(p.Err.Error(), "\n", "; ") + ")"
	}
	return s
}

package main

import (
	"errors"
	"fmt"
	"os"
	"time"

	"thudbook/sync/home"
	"thudbook/sync/problem"
)

// verifyCmd checks a data folder or a backup.
type verifyCmd struct {
	Data   string        `help:"Data folder of an agent or a server, running or not, or a folder with backups. Nothing in it is changed." required:"" type:"path" placeholder:"DIR"`
	Within time.Duration `help:"How long the check may take; a damaged store can lead it in circles. Default: ${default}." default:"2h"`
	Temp   string        `help:"Folder for what the check has to build; by default within the data folder, or the system's where that cannot be written." type:"path" placeholder:"DIR"`
}

// Run walks everything and says what it checked. Exit code 3 means damage, 4 a
// fork or a rolled-back store.
func (c *verifyCmd) Run(a *app) error {
	if c.Within <= 0 {
		return problem.New(problem.Invalid, "--within is "+c.Within.String(), "give a time above zero, as in --within 2h")
	}
	if home.IsBackup(c.Data) {
		return c.backup(a)
	}
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	p := home.PlaceOf(c.Data)
	if c.Temp != "" {
		p.Temp = c.Temp
	}
	if run := home.FindRunning(a.Ctx, c.Data); run != nil {
		dir, err := run.Snapshot(a.Ctx)
		if err != nil {
			return failed(a, err)
		}
		defer os.RemoveAll(dir)
		fmt.Fprintf(a.Out, "process %d has this folder open: it made a copy of its store at %s, which is checked; attachments are checked where they lie\n",
			run.PID, time.Now().Format("15:04:05"))
		at := home.PlaceOf(dir)
		p.Store, p.Anchor = at.Store, at.Anchor
	}
	code, err := checkChild(a, p, c.Within, false)
	if err != nil {
		return failed(a, err)
	}
	return exitWith(code)
}

// backup verifies what a backup holds, as it would be restored.
func (c *verifyCmd) backup(a *app) error {
	temp := c.Temp
	if temp == "" {
		temp = os.TempDir()
	}
	m, p, drop, err := home.OpenBackup(a.Ctx, c.Data, temp)
	if err != nil {
		return failed(a, err)
	}
	fmt.Fprintf(a.Out, "backup %d of node %s, made %s: %d pieces of the store and %d further files are as written\n", m.Run, m.Node, m.Made.Format(time.RFC3339), len(m.Chunks), len(m.Files))
	code, err := checkChild(a, p, c.Within, false)
	if err = errors.Join(err, drop()); err != nil {
		return failed(a, err)
	}
	return exitWith(code)
}

// checkCmd is the check itself, in the process that verify and doctor start.
type checkCmd struct {
	Data, Store, Blobs, Anchor, Temp string
	NoAnchor, Quick                  bool
}

// Run prints the report and ends with its class.
func (c *checkCmd) Run(a *app) error {
	if c.Quick {
		e, err := home.ExamineStopped(a.Ctx, c.Data)
		if err != nil {
			return failed(a, err)
		}
		return examined(a, e)
	}
	report, err := home.Verify(a.Ctx, home.Place{Dir: c.Data, Store: c.Store, Blobs: c.Blobs, Anchor: c.Anchor, NoAnchor: c.NoAnchor, Temp: c.Temp})
	if report != nil && err == nil {
		fmt.Fprint(a.Out, report)
	}
	if err != nil {
		return failed(a, err)
	}
	return exitWith(int(report.Class()))
}

// failed prints an error and ends with the exit code that belongs to it.
func failed(a *app, err error) error {
	fmt.Fprintln(a.Err, "thudbook:", inWords(err))
	switch problem.Of(err) {
	case problem.Damaged:
		return exitError{exitDamage}
	case problem.Forked:
		return exitError{exitForked}
	}
	return exitError{exitUsage}
}

// exitWith ends with a code that is not 0.
func exitWith(code int) error {
	if code == exitOK {
		return nil
	}
	return exitError{code}
}

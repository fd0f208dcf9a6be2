package main

import (
	"context"
	"fmt"
	"time"

	"thudbook/sync/care"
	"thudbook/sync/home"
	"thudbook/sync/problem"
)

// backupCmd copies a data folder.
type backupCmd struct {
	Data string `help:"Data folder of an agent or a server; it may be running." required:"" type:"path" placeholder:"DIR"`
	To   string `help:"Folder for the backup, best on another disk; a later backup into it writes only what is new. A running agent or server writes it itself, with its own rights." required:"" type:"path" placeholder:"DIR"`
}

// Run asks the process that has the folder open, or reads the folder itself.
func (c *backupCmd) Run(a *app) error {
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	var rep *care.BackupReport
	var err error
	if run := home.FindRunning(a.Ctx, c.Data); run != nil {
		rep, err = run.Backup(a.Ctx, c.To)
	} else {
		rep, err = home.BackupStopped(a.Ctx, c.Data, c.To, "thudbook "+version())
	}
	if err != nil {
		return failed(a, err)
	}
	fmt.Fprint(a.Out, rep)
	return exitWith(int(rep.Class()))
}

// restoreCmd makes a data folder from a backup.
type restoreCmd struct {
	From   string        `help:"Folder that thudbook backup wrote to." required:"" type:"path" placeholder:"DIR"`
	Data   string        `help:"Data folder to make; it must be empty or not there." required:"" type:"path" placeholder:"DIR"`
	Within time.Duration `help:"How long the check of what was restored may take. Default: ${default}." default:"2h"`
}

// Run restores, checks, and says what to do next.
func (c *restoreCmd) Run(a *app) error {
	check := func(_ context.Context, p home.Place) (care.Class, error) {
		code, err := checkChild(a, p, c.Within, false)
		if err == nil && code == exitUsage {
			err = problem.New(problem.Unavailable, "the restored folder could not be checked", "see what was said above")
		}
		return care.Class(code), err
	}
	r, err := home.Restore(a.Ctx, c.From, c.Data, time.Now(), check)
	if err != nil {
		return failed(a, err)
	}
	fmt.Fprint(a.Out, r)
	return exitWith(int(r.Class()))
}

// compactCmd takes the free space out of a store.
type compactCmd struct {
	Data string `help:"Data folder of an agent or a server that is not running." required:"" type:"path" placeholder:"DIR"`
}

// Run compacts; killed at any instant it leaves the old store or the new one.
func (c *compactCmd) Run(a *app) error {
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	before, after, err := home.Compact(a.Ctx, c.Data)
	if err != nil {
		return failed(a, err)
	}
	fmt.Fprintf(a.Out, "the store had %d bytes, now %d; every entry was compared with the old one\n", before, after)
	return nil
}

// doctorCmd takes a short look at a data folder.
type doctorCmd struct {
	Data string `help:"Data folder of an agent or a server, running or not." required:"" type:"path" placeholder:"DIR"`
}

// Run says what is wrong in plain words, and what to do. Exit code 1 means that
// something stands in the way, 3 damage, 4 a fork or a rolled-back store.
func (c *doctorCmd) Run(a *app) error {
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	if run := home.FindRunning(a.Ctx, c.Data); run != nil {
		e, err := run.Examine(a.Ctx)
		if err != nil {
			return failed(a, err)
		}
		return examined(a, e)
	}
	code, err := checkChild(a, home.PlaceOf(c.Data), 5*time.Minute, true)
	if err != nil {
		return failed(a, err)
	}
	return exitWith(code)
}

// examined prints what a look gave and ends with its class.
func examined(a *app, e *home.Examined) error {
	fmt.Fprint(a.Out, e)
	switch class := e.Class(); {
	case class != care.OK:
		return exitError{int(class)}
	case e.Trouble():
		return exitError{exitUsage}
	}
	return nil
}

// versionCmd prints what this program is.
type versionCmd struct{}

// Run prints it.
func (versionCmd) Run(a *app) error {
	fmt.Fprintln(a.Out, about())
	return nil
}

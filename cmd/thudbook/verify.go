package main

import (
	"errors"
	"fmt"

	"thudbook/sync/home"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

// verifyCmd checks a data folder.
type verifyCmd struct {
	Data string `help:"Data folder of an agent or a server that is not running." required:"" type:"path" placeholder:"DIR"`
}

// Run walks everything and says what it checked. Exit code 3 means damage, 4 a
// fork or a rolled-back store.
func (c *verifyCmd) Run(a *app) error {
	report, err := home.Verify(a.Ctx, c.Data)
	if errors.Is(err, kv.ErrLocked) {
		return &problem.Error{Code: problem.Conflict, What: "a running agent or server has this folder open", Where: c.Data, Fix: "stop it first, then verify"}
	}
	if err != nil {
		if problem.Of(err) == problem.Damaged {
			fmt.Fprintln(a.Err, "thudbook:", err)
			return exitError{exitDamage}
		}
		return err
	}
	fmt.Fprint(a.Out, report)
	if class := report.Class(); class != 0 {
		return exitError{int(class)}
	}
	return nil
}

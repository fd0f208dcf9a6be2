package main

import (
	"fmt"
	"os"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/format"
)

// mapCmd proposes a channel map from a file's header.
type mapCmd struct {
	File string `arg:"" help:"An acquisition file of the rig." type:"existingfile"`
}

// Run prints the proposed map on standard output and what is unsure on standard error.
func (c *mapCmd) Run(a *app) error {
	f, err := os.Open(c.File)
	if err != nil {
		return err
	}
	defer f.Close()
	headers, units, err := format.Headers(a.Ctx, f)
	if err != nil {
		fmt.Fprintf(a.Err, "thudbook: %s: %v\n", c.File, err)
		return exitError{exitInput}
	}
	m, unsure := chanmap.Guess(headers, units)
	for _, s := range unsure {
		fmt.Fprintln(a.Err, "unsure:", s)
	}
	if len(m.Channels) == 0 {
		return exitError{exitInput}
	}
	return chanmap.Encode(a.Out, m)
}

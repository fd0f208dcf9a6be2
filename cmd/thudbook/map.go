package main

import (
	"fmt"
	"io"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/format"
)

// mapCmd proposes a channel map from a file's header, or from what the file
// itself says of its channels.
type mapCmd struct {
	File string `arg:"" help:"An acquisition file of the rig, or the folder or .mme of a test after ISO/TS 13499."`
}

// Run prints the proposed map on standard output and what is unsure on standard error.
func (c *mapCmd) Run(a *app) error {
	m, unsure, err := format.ProposeMap(a.Ctx, func() (io.ReadCloser, error) { return openSource(c.File) })
	if err != nil {
		fmt.Fprintf(a.Err, "thudbook: %s: %v\n", c.File, err)
		return exitError{exitInput}
	}
	for _, s := range unsure {
		fmt.Fprintln(a.Err, "unsure:", s)
	}
	if len(m.Channels) == 0 {
		return exitError{exitInput}
	}
	return chanmap.Encode(a.Out, m)
}

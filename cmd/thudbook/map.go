package main

import (
	"fmt"

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
	f, err := openSource(c.File)
	if err != nil {
		fmt.Fprintf(a.Err, "thudbook: %s: %v\n", c.File, err)
		return exitError{exitInput}
	}
	defer f.Close()
	m, unsure, err := format.Propose(a.Ctx, f)
	if err != nil {
		fmt.Fprintf(a.Err, "thudbook: %s: %v\n", c.File, err)
		return exitError{exitInput}
	}
	if len(m.Channels) > 0 {
		var said string
		m.Processing.BaselineMS, said = c.baseline(a, m)
		unsure = append(unsure, said)
	}
	for _, s := range unsure {
		fmt.Fprintln(a.Err, "unsure:", s)
	}
	if len(m.Channels) == 0 {
		return exitError{exitInput}
	}
	return chanmap.Encode(a.Out, m)
}

// baseline reads the record by the proposed map and proposes a baseline window.
func (c *mapCmd) baseline(a *app, m chanmap.Map) (ms float64, said string) {
	f, err := openSource(c.File)
	if err != nil {
		return 0, noBaseline(err)
	}
	defer f.Close()
	got, err := format.Read(a.Ctx, f, format.Options{Map: &m})
	if err != nil {
		return 0, noBaseline(err)
	}
	return chanmap.GuessBaseline(&got.Recording)
}

func noBaseline(err error) string {
	return fmt.Sprintf("No baseline_ms is proposed: the record cannot be read by this map (%v). Set processing.baseline_ms to the milliseconds at rest before the impact.", err)
}

package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format/iso13499"
	"thudbook/metrics/score"
)

// scoreCmd prints what the metrics make of files; no store is touched.
type scoreCmd struct {
	Map       string   `help:"Channel map (TOML); without one the map is guessed and the guess is shown." type:"path" placeholder:"MAP.toml"`
	JSON      bool     `help:"One JSON object per file and line." name:"json"`
	Published bool     `help:"Also fill published functions of others with the results. They are no results, no medical statements and no pass marks." name:"published-functions"`
	Files     []string `arg:"" name:"file" help:"Acquisition files; also the folder, or the .mme, of a test after ISO/TS 13499."`
}

// Run scores each file. It returns exit code 2 when one of them, or a part of
// one, could not be read.
func (c *scoreCmd) Run(a *app) error {
	m, err := loadMap(c.Map)
	if err != nil {
		fmt.Fprintf(a.Err, "thudbook: %v\n", err)
		return exitError{exitInput}
	}
	w := bufio.NewWriter(a.Out)
	bad := false
	for _, name := range c.Files {
		rep := scoreFile(a, name, m, c.Published)
		bad = bad || rep.Error != nil
		if c.JSON {
			if err := json.NewEncoder(w).Encode(rep); err != nil {
				return err
			}
		} else {
			printReport(w, rep)
		}
		if err := w.Flush(); err != nil {
			return err
		}
		if err := a.Ctx.Err(); err != nil {
			return err
		}
	}
	if !c.JSON {
		if _, err := fmt.Fprintln(a.Out, researchValues); err != nil {
			return err
		}
	}
	if bad {
		return exitError{exitInput}
	}
	return nil
}

// loadMap reads a channel map; an empty path gives nil, which means guess.
func loadMap(path string) (*chanmap.Map, error) {
	if path == "" {
		return nil, nil
	}
	f, err := os.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &fault.Error{Code: fault.Unreadable, What: "the channel map " + path + " is not there", Fix: "check the name after --map; thudbook map FILE proposes a map for an acquisition's file", Err: err}
	case err != nil:
		return nil, &fault.Error{Code: fault.Unreadable, What: "the channel map cannot be opened: " + err.Error(), Fix: "name the map's file after --map, and see that this user may read it", Err: err}
	}
	defer f.Close()
	return chanmap.Parse(f, path)
}

// scoreFile scores one file; a file that cannot be opened gives a report with the reason.
func scoreFile(a *app, name string, m *chanmap.Map, published bool) score.Report {
	f, problem := openFile(name)
	if problem != nil {
		return score.Report{File: name, Flags: []score.Flag{}, Results: map[string]score.Result{}, Error: problem}
	}
	defer f.Close()
	return score.Score(a.Ctx, f, score.Options{Name: name, Map: m, Published: published, ResultsOnly: true})
}

// openFile is openSource with an error that has a place and a fix.
func openFile(name string) (io.ReadCloser, *fault.Error) {
	f, err := openSource(name)
	if err == nil {
		return f, nil
	}
	problem, ok := fault.As(err)
	if !ok {
		problem = &fault.Error{Code: fault.Unreadable, What: err.Error(), Fix: "check the name and the permission to read it", Err: err}
	}
	return nil, problem
}

// openSource opens what holds one recording. The folder of a test after ISO/TS
// 13499, or its .mme, becomes one stream, a plain tar that is the same for the
// same files on every machine; the report's digest is that of the tar.
func openSource(name string) (io.ReadCloser, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, err
	}
	switch {
	case info.IsDir():
		return iso13499.Pack(os.DirFS(name))
	case strings.EqualFold(filepath.Ext(name), ".mme"):
		return iso13499.Pack(os.DirFS(filepath.Dir(name)))
	}
	return os.Open(name)
}

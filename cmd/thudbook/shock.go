package main

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/score"
	"thudbook/metrics/shock"
	"thudbook/web/present"
)

// shockCmd prints shock response spectra; no store is touched.
type shockCmd struct {
	Map        string   `help:"Channel map (TOML); without one the map is guessed." type:"path" placeholder:"MAP.toml"`
	JSON       bool     `help:"One JSON object per file and line." name:"json" xor:"form"`
	CSV        bool     `help:"Delimited text for a spreadsheet: one line for each channel and natural frequency." name:"csv" xor:"form"`
	Q          float64  `help:"Quality factor; the damping ratio is 1/(2Q). Without it 10." placeholder:"10"`
	Damping    float64  `help:"Damping ratio instead of Q, above 0 and below 1." placeholder:"0.05"`
	From       float64  `help:"Lowest natural frequency; without it 10 Hz, or one period in the record if that is higher." placeholder:"HZ"`
	To         float64  `help:"Highest natural frequency; without it a tenth of the sample rate, or the lowest filter class of the channels if that is lower." placeholder:"HZ"`
	PerOctave  int      `help:"Natural frequencies an octave." default:"6"`
	Unfiltered bool     `help:"Take the record before its channel filters, where the sensors sit; without it filtered and moved to the centre of gravity, as the other results."`
	Files      []string `arg:"" name:"file" help:"Acquisition files; also the folder, or the .mme, of a test after ISO/TS 13499."`
}

// spectraLine is the JSON of one file: add, never rename.
type spectraLine struct {
	File         string       `json:"file"`
	SHA256       string       `json:"sha256"`
	Error        *fault.Error `json:"error"`
	Flags        []score.Flag `json:"flags"` // of the record, as score has them
	Q            float64      `json:"q,omitempty"`
	DampingRatio float64      `json:"damping_ratio,omitempty"`
	PerOctave    int          `json:"per_octave,omitempty"`
	Unfiltered   bool         `json:"unfiltered"`
	present.SpectraJSON
}

// Run computes the spectra of each file, with the exit codes of score.
func (c *shockCmd) Run(a *app) error {
	m, err := loadMap(c.Map)
	if err != nil {
		fmt.Fprintf(a.Err, "thudbook: %v\n", err)
		return exitError{exitInput}
	}
	switch {
	case c.Q != 0 && c.Damping != 0:
		return errors.New("shock: give --q or --damping, not both")
	case c.Damping != 0 && !(c.Damping > 0 && c.Damping < 1):
		return errors.New("shock: give --damping above 0 and below 1")
	case c.Damping != 0:
		c.Q = 1 / (2 * c.Damping)
	}
	w := bufio.NewWriter(a.Out)
	bad := false
	for i, name := range c.Files {
		rep, spectra, err := c.spectra(a, name, m)
		if ctx := a.Ctx.Err(); ctx != nil {
			return ctx
		}
		bad = bad || rep.Error != nil || err != nil
		if err := c.print(w, &rep, spectra, err, i == 0); err != nil {
			return err
		}
		if err := w.Flush(); err != nil {
			return err
		}
		if c.CSV && rep.Error != nil {
			fmt.Fprintf(a.Err, "thudbook: %s: %v\n", name, rep.Error)
		}
	}
	if bad {
		return exitError{exitInput}
	}
	return nil
}

// spectra reads one file. The error is why there are no spectra, also when the
// report has none.
func (c *shockCmd) spectra(a *app, name string, m *chanmap.Map) (score.Report, *shock.Spectra, error) {
	f, problem := openFile(name)
	if problem != nil {
		return score.Report{File: name, Flags: []score.Flag{}, Error: problem}, nil, problem
	}
	defer f.Close()
	rep := score.Score(a.Ctx, f, score.Options{Name: name, Map: m})
	got, err := score.ShockSpectra(a.Ctx, &rep, score.ShockRequest{
		Request:    shock.Request{Q: c.Q, FromHz: c.From, ToHz: c.To, PerOctave: c.PerOctave},
		Unfiltered: c.Unfiltered,
	})
	if err != nil {
		if rep.Error == nil {
			rep.Error = &fault.Error{Code: noSpectrum, What: err.Error(), Fix: "change the channel map or the settings of the spectrum", Err: err}
		}
		return rep, nil, err
	}
	return rep, &got, nil
}

// noSpectrum is the code of a file that was read but has no spectrum as asked for.
const noSpectrum fault.Code = "no_spectrum"

func (c *shockCmd) print(w io.Writer, rep *score.Report, s *shock.Spectra, problem error, first bool) error {
	switch {
	case c.JSON:
		line := spectraLine{File: rep.File, SHA256: rep.SHA256, Error: rep.Error, Flags: rep.Flags, Unfiltered: c.Unfiltered}
		if s != nil {
			line.Q, line.DampingRatio, line.PerOctave = s.Q, s.DampingRatio, s.PerOctave
			line.SpectraJSON = present.SpectraOf(s)
		}
		return json.NewEncoder(w).Encode(line)
	case c.CSV:
		cw := csv.NewWriter(w)
		if first {
			if err := cw.Write(append([]string{"file"}, present.SpectraHead()...)); err != nil {
				return err
			}
		}
		if s != nil {
			for row := range present.SpectraRows(s) {
				if err := cw.Write(append([]string{rep.File}, row...)); err != nil {
					return err
				}
			}
		}
		cw.Flush()
		return cw.Error()
	default:
		printSpectra(w, rep, s, c.Unfiltered)
		return nil
	}
}

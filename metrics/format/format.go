// Package format turns the bytes of an acquisition file into a recording, by a
// channel map or by a guess from the header.
package format

import (
	"context"
	"fmt"
	"io"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format/delimited"
	"thudbook/metrics/signal"
)

// DefaultMaxSamples is the limit of Options when it names none: 20 million
// values in the columns used take 160 MB.
const DefaultMaxSamples = 20_000_000

// Options says how a file is to be read.
type Options struct {
	Name       string       // of the file, for messages
	Map        *chanmap.Map // nil: guess from the header
	MaxSamples int          // values in all columns used; 0: DefaultMaxSamples
	Size       int64        // of the file in bytes if known, to reserve memory
}

// Reading is a file that was read.
type Reading struct {
	Recording signal.Recording
	Map       chanmap.Map    // as used, with what was found out
	Guessed   bool           // Map is a guess
	Unsure    []string       // what a person should look at
	Faults    []*fault.Error // of single channels and of a last row cut short
	Rows      int
}

// Read reads a file. Only the columns that the map binds are kept in memory,
// in the recording's units, with sensitivity and polarity applied.
//
// What makes the whole file unusable is a *fault.Error and no reading: empty
// file, no header, no data, time column, time running backwards, row of wrong
// width, too many values. What concerns one channel (text, NaN, a column that
// is not there) or the last row stands in Faults; such values are NaN, a
// channel without its column is left out. A context that ends gives its own
// error.
func Read(ctx context.Context, src io.Reader, o Options) (*Reading, error) {
	if o.MaxSamples <= 0 {
		o.MaxSamples = DefaultMaxSamples
	}
	force := delimited.Force{}
	if o.Map != nil {
		var err error
		if force, err = forced(o.Map.Format); err != nil {
			return nil, err
		}
	}
	if l, ok := src.(interface{ Len() int }); ok && o.Size == 0 {
		o.Size = int64(l.Len())
	}
	f, err := delimited.Open(ctx, src, force)
	if err != nil {
		return nil, err
	}
	r := &reader{file: f, options: o}
	return r.read(ctx)
}

// Headers gives the header texts and the row of units of a file (nil where it
// has none), for a person to make a map from. Errors are as for Read.
func Headers(ctx context.Context, src io.Reader) (headers, units []string, err error) {
	f, err := delimited.Open(ctx, src, delimited.Force{})
	if err != nil {
		return nil, nil, err
	}
	return f.Headers, f.Units, nil
}

// forced turns a map's keys into the reader's.
func forced(f chanmap.Format) (delimited.Force, error) {
	if f.Kind != "" && f.Kind != "delimited" {
		return delimited.Force{}, &fault.Error{Code: fault.BadMap,
			What: fmt.Sprintf("files of kind %q cannot be read yet", f.Kind),
			Fix:  `export delimited text and write format.kind = "delimited"`}
	}
	force := delimited.Force{Encoding: f.Encoding, HeaderRows: f.HeaderRows}
	if len(f.Delimiter) > 0 {
		force.Delimiter = f.Delimiter[0]
	}
	if len(f.Decimal) > 0 {
		force.Decimal = f.Decimal[0]
	}
	return force, nil
}

// reader holds the state of one Read.
type reader struct {
	file    *delimited.File
	options Options
	out     Reading
	sel     delimited.Selection
	bound   []int // index in Map.Channels of each of sel.Columns
}

func (r *reader) read(ctx context.Context) (*Reading, error) {
	if err := r.useMap(); err != nil {
		return nil, err
	}
	if err := r.bind(); err != nil {
		return nil, err
	}
	r.sel.MaxValues = r.options.MaxSamples
	r.sel.Size = r.options.Size
	r.sel.Footer = r.out.Map.Complete.Footer
	t, err := r.file.Read(ctx, r.sel)
	if err != nil {
		return nil, err
	}
	r.out.Rows = t.Rows
	if err := r.timeBase(t); err != nil {
		return nil, err
	}
	for i, values := range t.Columns {
		r.channel(i, values)
		if bad := t.Bad[i]; bad.Count > 0 {
			if bad.Count > 1 {
				bad.First.What += fmt.Sprintf(" (the first of %d such values in this channel)", bad.Count)
			}
			r.out.Faults = append(r.out.Faults, bad.First)
		}
	}
	if t.Truncated != nil {
		r.out.Faults = append(r.out.Faults, t.Truncated)
	}
	for _, line := range t.Footer {
		r.out.Unsure = append(r.out.Unsure, "Text behind the numbers is taken for a footer: "+line)
	}
	return &r.out, nil
}

// useMap takes the given map or guesses one.
func (r *reader) useMap() error {
	f := r.file
	if r.options.Map != nil {
		r.out.Map = *r.options.Map
		r.out.Map.Channels = append([]chanmap.Channel(nil), r.options.Map.Channels...)
	} else {
		if f.Headers == nil {
			return r.noHeader()
		}
		r.out.Map, r.out.Unsure = chanmap.Guess(f.Headers, f.Units)
		r.out.Guessed = true
		if len(r.out.Map.Channels) == 0 {
			return &fault.Error{Code: fault.MissingColumn, Line: f.HeaderLine,
				What: "no column of the header was recognised as a channel (" + list(f.Headers) + ")",
				Fix:  "write a channel map that binds the columns"}
		}
	}
	if r.out.Map.Time.Column == "" && r.out.Map.Time.RateHz <= 0 {
		return &fault.Error{Code: fault.TimeColumn, Line: f.HeaderLine,
			What: "there is no time column and no sample rate",
			Fix:  "name the time column or rate_hz in the channel map"}
	}
	d := f.Dialect
	r.out.Map.Format = chanmap.Format{Kind: "delimited", Delimiter: string(d.Delimiter), Decimal: string(d.Decimal), Encoding: d.Encoding, HeaderRows: d.HeaderRows}
	return nil
}

// noHeader says why there is no header to bind columns by.
func (r *reader) noHeader() error {
	f := r.file
	if f.HeaderCells > 0 {
		return &fault.Error{Code: fault.RowWidth, Line: f.HeaderLine,
			What: fmt.Sprintf("the line above the numbers has %d texts, but the rows have %d values", f.HeaderCells, f.Dialect.Width),
			Fix:  "correct the header or the rows, or bind columns by number in a channel map"}
	}
	return &fault.Error{Code: fault.NoHeader, Line: f.Dialect.HeaderRows + 1,
		What: "the file has no header: it begins with numbers",
		Fix:  "write a channel map that binds columns by number, from 1"}
}

// Package format turns the bytes of an acquisition file into a recording, by a
// channel map or by a guess from the header. It reads delimited text, folders of
// ISO/TS 13499 packed as tar or zip, Universal Files with datasets 58, and WAV.
//
// The last three say themselves what they hold. What they say of units holds
// over the channel map, whose unit then is that of the full scale; a rate_hz of
// the map, which they do not need, holds over theirs. Differences are named.
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
	Conflicts []UnitConflict // units of the file that the map contradicts
	Faults    []*fault.Error // of single channels and of a last row cut short
	Rows      int
	// Filtered is the filter class that the file says its values are filtered
	// with, by channel name; a channel whose CFC is 0 for that reason is not to be
	// called unfiltered.
	Filtered map[string]int
}

// UnitConflict is a channel, or the time, of which the file names another unit than
// the channel map. The map's was used, and one of the two is wrong.
type UnitConflict struct{ Channel, InFile, InMap string }

// Read reads a file. The map's format.kind says what it is; without one that is
// found out from the first bytes. Only the columns that the map binds are kept in memory,
// in the recording's units, with sensitivity and polarity applied.
//
// What makes the whole file unusable is a *fault.Error and no reading: empty
// file, no header, no data, time column, time running backwards, row of wrong
// width, too many values. What concerns one channel (text, NaN, a column that
// is not there, another time base) or the last row stands in Faults; such values
// are NaN, a channel without its column is left out. A context that ends gives
// its own error.
func Read(ctx context.Context, src io.Reader, o Options) (*Reading, error) {
	if o.MaxSamples <= 0 {
		o.MaxSamples = DefaultMaxSamples
	}
	if l, ok := src.(interface{ Len() int }); ok && o.Size == 0 {
		o.Size = int64(l.Len())
	}
	kind, src, err := sniff(ctx, src, o.Map)
	if err != nil {
		return nil, err
	}
	if kind != delimitedKind {
		s, err := readSource(ctx, kind, src, wanted(o.Map), o.MaxSamples)
		if err != nil {
			return nil, err
		}
		return columnsReading(s, o)
	}
	force := delimited.Force{}
	if o.Map != nil {
		force = forced(o.Map.Format)
	}
	f, err := delimited.Open(ctx, src, force)
	if err != nil {
		return nil, err
	}
	r := &reader{file: f, options: o}
	return r.read(ctx)
}

// Propose guesses a channel map from the beginning of a file, or from the whole
// of one that is not delimited text. unsure says in sentences what a person
// should look at. A map without channels means that the guess failed. Errors
// are as for Read.
func Propose(ctx context.Context, src io.Reader) (m chanmap.Map, unsure []string, err error) {
	kind, src, err := sniff(ctx, src, nil)
	if err != nil {
		return chanmap.Map{}, nil, err
	}
	if kind == delimitedKind {
		headers, units, err := Headers(ctx, src)
		if err != nil {
			return chanmap.Map{}, nil, err
		}
		m, unsure := chanmap.Guess(headers, units)
		return m, unsure, nil
	}
	s, err := readSource(ctx, kind, src, nil, DefaultMaxSamples)
	if err != nil {
		return chanmap.Map{}, nil, err
	}
	if s.noGuess != nil {
		return chanmap.Map{}, nil, s.noGuess
	}
	m, unsure = s.guess()
	return m, append(unsure, s.notes...), nil
}

// Headers gives the header texts and the row of units of a delimited file (nil
// where it has none), for a person to make a map from. Errors are as for Read.
func Headers(ctx context.Context, src io.Reader) (headers, units []string, err error) {
	f, err := delimited.Open(ctx, src, delimited.Force{})
	if err != nil {
		return nil, nil, err
	}
	return f.Headers, f.Units, nil
}

// forced turns a map's keys into the reader's.
func forced(f chanmap.Format) delimited.Force {
	force := delimited.Force{Encoding: f.Encoding, HeaderRows: f.HeaderRows}
	if len(f.Delimiter) > 0 {
		force.Delimiter = f.Delimiter[0]
	}
	if len(f.Decimal) > 0 {
		force.Decimal = f.Decimal[0]
	}
	return force
}

// reader holds the state of one Read.
type reader struct {
	file    *delimited.File
	options Options
	out     Reading
	sel     delimited.Selection
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
	r.out.Map.Format = chanmap.Format{Kind: delimitedKind, Delimiter: string(d.Delimiter), Decimal: string(d.Decimal), Encoding: d.Encoding, HeaderRows: d.HeaderRows}
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

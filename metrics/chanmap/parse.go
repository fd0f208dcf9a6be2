package chanmap

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/BurntSushi/toml"

	"thudbook/metrics/fault"
)

// MaxBytes is the largest channel map that is read.
const MaxBytes = 1 << 20

// MaxChannels is the largest number of channels a map may bind.
const MaxChannels = 64

// Parse reads a channel map in TOML. Every key is checked; what is wrong is a
// *fault.Error of code bad_map that names the file (name), the line, the key
// and the fix. With several faults the first in the file is given, with their
// number.
//
// A channel without the key cfc gets DefaultCFC of its quantity; cfc = 0 leaves
// it unfiltered.
func Parse(r io.Reader, name string) (*Map, error) {
	text, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, &fault.Error{Code: fault.Unreadable, What: name + " cannot be read", Fix: "check that the file exists and may be read", Err: err}
	}
	if len(text) > MaxBytes {
		return nil, &fault.Error{Code: fault.BadMap, What: name + " is larger than 1 MiB, so it is no channel map", Fix: "name the TOML file that binds columns to channels"}
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	var doc map[string]any
	if _, err := toml.NewDecoder(bytes.NewReader(text)).Decode(&doc); err != nil {
		f := &fault.Error{Code: fault.BadMap, What: name + " is not valid TOML: " + err.Error(), Fix: "correct the line; texts stand in double quotes, decimal signs are points", Err: err}
		if p, ok := errors.AsType[toml.ParseError](err); ok {
			f.Line = p.Position.Line
			f.What = name + " is not valid TOML: " + p.Message
		}
		return nil, f
	}
	c := &checker{name: name, lines: findLines(text)}
	m := c.build(doc)
	if err := c.first(); err != nil {
		return nil, err
	}
	return m, nil
}

// Validate checks a map that did not come from Parse, for instance from JSON.
// The fault has no line.
func (m *Map) Validate(name string) error {
	c := &checker{name: name}
	c.check(m)
	return c.first()
}

// checker collects the faults of one map.
type checker struct {
	name   string
	lines  map[string]int
	faults []*fault.Error
}

// bad notes a fault at a key such as "channel[2].unit".
func (c *checker) bad(key, what, fix string) {
	c.faults = append(c.faults, &fault.Error{
		Code: fault.BadMap,
		What: fmt.Sprintf("%s, key %s: %s", c.name, key, what),
		Line: lineOf(c.lines, key),
		Fix:  fix,
	})
}

// first gives the fault that stands highest in the file, with the total.
func (c *checker) first() error {
	if len(c.faults) == 0 {
		return nil
	}
	best := c.faults[0]
	for _, f := range c.faults[1:] {
		if f.Line > 0 && (best.Line == 0 || f.Line < best.Line) {
			best = f
		}
	}
	if n := len(c.faults); n > 1 {
		best.What = fmt.Sprintf("%s (the first of %d faults in this map)", best.What, n)
	}
	return best
}

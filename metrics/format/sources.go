package format

import (
	"context"
	"fmt"
	"io"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format/iso13499"
	"thudbook/metrics/format/uff58"
	"thudbook/metrics/format/wav"
	"thudbook/metrics/unit"
)

// readSource reads a file that says itself what it holds. keep is what wanted
// makes.
func readSource(ctx context.Context, kind string, src io.Reader, keep func(int, []string) bool, most int) (*source, error) {
	switch kind {
	case isoKind:
		f, err := iso13499.Read(ctx, src, iso13499.Options{Keep: keep, MaxValues: most})
		if err != nil {
			return nil, err
		}
		return fromISO(f), nil
	case uffKind:
		f, err := uff58.Read(ctx, src, uff58.Options{Keep: keep, MaxValues: most})
		if err != nil {
			return nil, err
		}
		return fromUFF(f), nil
	case wavKind:
		o := wav.Options{MaxValues: most}
		if keep != nil {
			o.Keep = func(n int) bool { return keep(n, []string{channelName(n)}) }
		}
		f, err := wav.Read(ctx, src, o)
		if err != nil {
			return nil, err
		}
		return fromWAV(f), nil
	}
	return nil, &fault.Error{Code: fault.BadMap, What: fmt.Sprintf("files of kind %q are not known", kind), Fix: `write format.kind = "delimited", "iso13499", "uff58" or "wav"`}
}

func seconds() unit.Unit { return unit.Base(unit.Time) }

// fromISO turns channel files into columns.
func fromISO(f *iso13499.File) *source {
	s := &source{kind: isoKind, notes: f.Notes, columns: make([]column, len(f.Channels))}
	for i := range f.Channels {
		ch := &f.Channels[i]
		c := column{number: ch.Number, names: ch.Names(), unit: ch.Unit(), values: ch.Values, fault: ch.Fault, notes: ch.Notes}
		c.label = string(ch.Code)
		if c.label == "" {
			c.label = ch.File
		}
		class, known := ch.Code.CFC()
		said, has := chanmap.ParseCFC(ch.Header.Value("Channel frequency class"))
		switch {
		case known && has && said != class:
			c.notes = append(c.notes, fmt.Sprintf("The code of channel %s says filter class %d, its header %d; the code holds.", c.label, class, said))
		case !known && has:
			class = said
		case !known && ch.Code.Filter() == "S":
			c.notes = append(c.notes, fmt.Sprintf("Channel %s has been through a special filter; the class asked for is applied to that.", c.label))
		}
		c.filtered = class
		q, why := ch.Code.Quantity()
		c.described = chanmap.Described{Measures: q, Why: why, Axis: ch.Code.Axis(), Head: ch.Code.Location() == "HEAD"}
		if ch.Kept && len(ch.Values) > 0 {
			var bad *fault.Error
			if c.clock, bad = evenClock(ch.StartS, ch.IntervalS, ch.IntervalDigits, seconds()); bad != nil {
				bad.Channel, bad.Line = c.label, ch.Line
				c.fault, c.values = bad, nil
			}
		}
		s.columns[i] = c
	}
	return s
}

// fromUFF turns datasets into columns.
func fromUFF(f *uff58.File) *source {
	s := &source{kind: uffKind, notes: f.Notes, columns: make([]column, len(f.Datasets))}
	for i := range f.Datasets {
		d := &f.Datasets[i]
		c := column{number: d.Number, names: d.Names(), label: d.Label(), unit: d.Ordinate.Unit, values: d.Values, fault: d.Fault, notes: d.Notes}
		q, why := d.Quantity()
		c.described = chanmap.Described{Measures: q, Why: why, Axis: d.Axis(), SI: true}
		if d.Kept && len(d.Values) > 0 {
			u, ok := unit.Parse(d.Abscissa.Unit)
			if !ok || u.Dimension != unit.Time {
				u = seconds()
				if d.Abscissa.Unit != "" {
					c.notes = append(c.notes, fmt.Sprintf("The abscissa of channel %s is in %q, which is no unit of time; seconds are taken.", c.label, d.Abscissa.Unit))
				}
			}
			var bad *fault.Error
			if d.Even {
				c.clock, bad = evenClock(d.Start, d.Step, d.StepDigits, u)
			} else {
				c.clock, bad = listedClock(d.Times, d.TimeDigits, u)
			}
			if bad != nil {
				bad.Channel, bad.Line = c.label, d.Line
				c.fault, c.values = bad, nil
			}
		}
		s.columns[i] = c
	}
	return s
}

func channelName(n int) string { return fmt.Sprintf("channel %d", n) }

// fromWAV turns the channels of a WAV into columns. No map can be guessed: the
// file says nothing of sensors.
func fromWAV(f *wav.File) *source {
	s := &source{kind: wavKind, notes: f.Notes, fault: f.Fault, columns: make([]column, f.Channels)}
	encoding := "integer"
	if f.Float {
		encoding = "float"
	}
	s.noGuess = &fault.Error{Code: fault.MissingColumn,
		What: fmt.Sprintf("the WAV file holds %d channels of %d-bit %s counts at %g samples a second and does not say what they measure", f.Channels, f.Bits, encoding, f.RateHz),
		Fix:  `write a channel map with format.kind = "wav" and a [[channel]] for each number from 1, with measures, axis, unit = "count" and sensitivity`}
	for i := range s.columns {
		c := column{number: i + 1, label: channelName(i + 1), unit: "count", values: f.Values[i], fault: f.Bad[i], fullScale: f.FullScale(),
			clock: clock{rateHz: f.RateHz}}
		c.names = []string{c.label}
		if c.fault != nil {
			c.fault.Channel = c.label
		}
		s.columns[i] = c
	}
	return s
}

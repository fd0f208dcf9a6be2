package uff58

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// IsFile says whether a stream that begins so is a Universal File: "    -1" on
// the first line, the number of a dataset right-justified on the second.
func IsFile(head []byte) bool {
	first, rest, ok := bytes.Cut(head, []byte("\n"))
	if !ok || string(bytes.TrimRight(first, " \r")) != delimiter {
		return false
	}
	second, _, _ := bytes.Cut(rest, []byte("\n"))
	if len(second) < 6 {
		return false
	}
	number := bytes.TrimLeft(second[:6], " ")
	if len(number) == 0 || len(number) == 6 {
		return false
	}
	for _, c := range number {
		if c < '0' || c > '9' {
			return false
		}
	}
	return len(second) == 6 || strings.ContainsRune(" \rbB", rune(second[6]))
}

// delimiter opens and closes a dataset.
const delimiter = "    -1"

// Read reads all datasets 58 of a file. What makes the whole of it unusable is
// a *fault.Error and no file: no dataset 58 in it, a binary one, too many
// values. What concerns one dataset stands in its Fault.
func Read(ctx context.Context, src io.Reader, o Options) (*File, error) {
	r := &reader{lines: textline.New(ctx, src, "the file"), options: o}
	for {
		line, ok := r.lines.Next()
		if !ok {
			break
		}
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		r.opened(line)
		if !r.closes(line) {
			return nil, r.unusable(fault.Unreadable, fmt.Sprintf("%q stands where a dataset must begin with -1", textline.Clip(textline.Text(line), 40)),
				"check that the file is a Universal File, and export it again")
		}
		if err := r.dataset(); err != nil {
			return nil, err
		}
	}
	if err := r.lines.Err(); err != nil {
		return nil, err
	}
	if len(r.file.Datasets) == 0 {
		f := r.unusable(fault.NoData, "the file has no dataset 58", "export the time responses as dataset 58, text form")
		if f.Line == 0 {
			f.Code, f.What = fault.Empty, "the file is empty"
		}
		return nil, f
	}
	return &r.file, nil
}

type reader struct {
	lines   *textline.Reader
	options Options
	file    File
	kept    int  // values
	seen    bool // an opening line
	exact   bool // it kept the columns
}

// opened lets the first opening line decide whether columns are kept.
func (r *reader) opened(line []byte) {
	if !r.seen {
		r.seen, r.exact = true, string(bytes.TrimRight(line, " ")) == delimiter
	}
}

func (r *reader) unusable(code fault.Code, what, fix string) *fault.Error {
	return &fault.Error{Code: code, Line: r.lines.Line(), What: what, Fix: fix}
}

// closes knows the line that opens and closes a dataset: "-1" in columns 5 and
// 6, or anywhere in files that do not keep the columns.
func (r *reader) closes(line []byte) bool {
	if r.exact {
		return string(bytes.TrimRight(line, " ")) == delimiter
	}
	return string(bytes.TrimSpace(line)) == "-1"
}

// dataset reads what stands behind an opening -1.
func (r *reader) dataset() error {
	line, ok := r.lines.Next()
	if !ok {
		if r.lines.Err() == nil {
			r.file.Notes = append(r.file.Notes, fmt.Sprintf("The file ends at line %d with an opening -1 and no dataset.", r.lines.Line()))
		}
		return nil
	}
	kind := strings.ToLower(strings.TrimSpace(textline.Text(line[:min(len(line), 80)])))
	number, _, _ := strings.Cut(kind, " ")
	switch {
	case number == "58":
		return r.function()
	case number == "58b", strings.HasPrefix(kind, "58 b"):
		return r.unusable(fault.Unreadable, "dataset 58b is the binary form of dataset 58, which is not read", "export the functions in the text form, dataset 58")
	}
	r.file.Skipped = append(r.file.Skipped, Skipped{textline.Clip(number, 10), r.lines.Line()})
	if len(r.file.Skipped) > maxDatasets {
		return r.unusable(fault.TooLarge, fmt.Sprintf("the file holds more than %d datasets of other types", maxDatasets), "export the time responses alone")
	}
	r.skip()
	return nil
}

// skip passes over the rest of a dataset with its closing -1.
func (r *reader) skip() {
	for {
		line, ok := r.lines.Next()
		if !ok || r.closes(line) {
			return
		}
	}
}

// function reads one dataset 58.
func (r *reader) function() error {
	if len(r.file.Datasets) >= maxDatasets {
		return r.unusable(fault.TooLarge, fmt.Sprintf("the file holds more than %d datasets 58", maxDatasets), "export the channels that are needed")
	}
	d := Dataset{Number: len(r.file.Datasets) + 1, Line: r.lines.Line() + 1}
	if !r.records(&d) {
		r.file.Datasets = append(r.file.Datasets, d)
		return r.lines.Err()
	}
	d.check(r.options.maxValues())
	if d.Fault != nil || r.options.Keep != nil && !r.options.Keep(d.Number, d.Names()) {
		r.file.Datasets = append(r.file.Datasets, d)
		r.skip()
		return r.lines.Err()
	}
	d.Kept = true
	err := r.data(&d)
	r.file.Datasets = append(r.file.Datasets, d)
	return err
}

// check looks whether the records describe something that can be read.
func (d *Dataset) check(most int) {
	record7 := d.Line + 6
	bad := func(line int, code fault.Code, what, fix string) {
		d.fail(&fault.Error{Code: code, Line: line, What: what, Fix: fix})
	}
	switch {
	case d.DataType == 5 || d.DataType == 6:
		bad(record7, fault.Unreadable, "the dataset holds complex numbers, so it is no time response", "export the time response, real single or double")
	case d.DataType != realSingle && d.DataType != realDouble:
		bad(record7, fault.Unreadable, fmt.Sprintf("the ordinate data type %d is not known", d.DataType), "export real single (2) or real double (4)")
	case d.Declared > int64(most):
		bad(record7, fault.TooLarge, fmt.Sprintf("the dataset declares %d values, more than the limit of %d", d.Declared, most), "cut the recording to the shot, or raise the limit")
	case d.Declared < 1:
		bad(record7, fault.NoData, fmt.Sprintf("the dataset declares %d values", d.Declared), "check that the acquisition recorded, and export it again")
	case d.Abscissa.Type != Time && d.Abscissa.Type != 0:
		bad(d.Line+7, fault.TimeColumn, fmt.Sprintf("the abscissa is of type %d and not time (17)", d.Abscissa.Type), "export the time response")
	case d.Even && !(d.Step > 0):
		bad(record7, fault.TimeColumn, fmt.Sprintf("the abscissa increment %g is no time between two values", d.Step), "export the dataset with its increment in seconds")
	}
}

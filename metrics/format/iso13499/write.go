package iso13499

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"path"
	"regexp"
	"strconv"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

// Sink takes the files of a folder. Names have slashes; folders are made as
// needed.
type Sink interface {
	Create(name string) (io.WriteCloser, error)
}

// Meta is what a recording does not hold.
type Meta struct {
	Reference string // test reference, the name of folder and files
	// Fields are further lines of the .mme: one with the key of a standard line
	// fills that, others follow at the end. Characters beyond ASCII become "?".
	Fields []Field
	Dummy  string // fine location 3 of the head's codes, such as H3; "" for none
	// FilteredCFC is the class that the values of a channel are filtered with, by
	// its name. A channel without entry is unfiltered, or with Prefiltered has
	// seen the filter before the converter only.
	FilteredCFC map[string]int
	Prefiltered bool
}

// Conformity is written into each header.
const Conformity = "Layout after ISO/TS 13499; conformity to the current edition was not checked against print"

// Write writes a recording as a folder Reference/ in even times. Accelerations
// are written in m/s², the other quantities in their unit of the recording.
// Samples that are NaN are written as NOVALUE. It returns a *fault.Error for a
// recording that the format cannot hold, and the sink's own errors.
func Write(sink Sink, rec *signal.Recording, meta Meta) error {
	if !regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9_.-]{0,63}$`).MatchString(meta.Reference) {
		return &fault.Error{Code: fault.BadMap, What: fmt.Sprintf("%q is no test reference", clip(meta.Reference)), Fix: "use letters, digits, -, _ and . only, at most 64"}
	}
	if rec.TimeS != nil || !(rec.RateHz > 0) {
		return &fault.Error{Code: fault.TimeColumn, What: "the times are uneven, which a channel file cannot hold", Fix: "resample the recording first"}
	}
	if n := len(rec.Channels); n == 0 || n > 999 {
		return &fault.Error{Code: fault.NoData, What: fmt.Sprintf("%d channels cannot be written, 1 to 999 can", n), Fix: "choose the channels to write"}
	}
	codes := meta.codes(rec)
	if err := create(sink, path.Join(meta.Reference, meta.Reference+".mme"), meta.header); err != nil {
		return err
	}
	if err := create(sink, path.Join(meta.Reference, "Channel", meta.Reference+".chn"), func(w *writer) {
		w.line("Instrumentation standard", "ISO 6487 / SAE J211")
		w.line("Number of channels", strconv.Itoa(len(codes)))
		for i, code := range codes {
			w.line(fmt.Sprintf("Name of channel %03d", i+1), string(code)+" / "+rec.Channels[i].Name)
		}
	}); err != nil {
		return err
	}
	for i, code := range codes {
		name := path.Join(meta.Reference, "Channel", fmt.Sprintf("%s.%03d", meta.Reference, i+1))
		if err := create(sink, name, func(w *writer) { w.channel(rec, i, code, meta.FilteredCFC[rec.Channels[i].Name]) }); err != nil {
			return err
		}
	}
	return nil
}

func (m *Meta) codes(rec *signal.Recording) []Code {
	dummy := strings.ToUpper(m.Dummy)
	if len(dummy) != 2 {
		dummy = "00"
	}
	seen := map[Code]int{}
	codes := make([]Code, len(rec.Channels))
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		filter := filterLetter(m.FilteredCFC[ch.Name], m.Prefiltered)
		plain := codeFor(ch, dummy, 1, filter)
		seen[plain]++
		codes[i] = codeFor(ch, dummy, seen[plain], filter)
	}
	return codes
}

// header writes the .mme, its keys in the usual order.
func (m *Meta) header(w *writer) {
	given := Header(m.Fields)
	written := map[string]bool{}
	for _, f := range []Field{
		{Key: "Data format edition number", Value: "1.6"}, {Key: "Laboratory name"}, {Key: "Laboratory contact name"},
		{Key: "Laboratory test ref. number", Value: m.Reference}, {Key: "Customer name"}, {Key: "Customer test ref. number"}, {Key: "Customer project ref. number"},
		{Key: "Title"}, {Key: "Medium No./number of media", Value: "1/1"}, {Key: "Timestamp"}, {Key: "Type of the test"}, {Key: "Subtype of the test"},
		{Key: "Regulation"}, {Key: "Reference temperature"}, {Key: "Relative air humidity"}, {Key: "Date of the test"}, {Key: "Name of test object 1"},
		{Key: "Velocity test object 1"}, {Key: "Mass test object 1"}, {Key: "Type of data source", Value: "hardware"}, {Key: "Comments", Value: Conformity},
	} {
		if g, ok := given.find(f.Key); ok {
			if f.Key == "Comments" && g.Value != f.Value {
				w.line(f.Key, f.Value)
			}
			f.Value = g.Value
		}
		written[f.Key] = true
		w.line(f.Key, f.Value)
	}
	for _, f := range m.Fields {
		if !written[f.Key] {
			w.line(f.Key, f.Value)
		}
	}
}

// writer writes lines; the first error stays.
type writer struct {
	*bufio.Writer
}

// create writes one file whole.
func create(sink Sink, name string, write func(*writer)) error {
	f, err := sink.Create(name)
	if err != nil {
		return fmt.Errorf("create %s: %w", name, err)
	}
	w := &writer{bufio.NewWriter(f)}
	write(w)
	err = w.Flush()
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	return nil
}

// line writes one key with its value, NOVALUE for none. An error shows at Flush.
func (w *writer) line(key, value string) {
	if strings.TrimSpace(value) == "" {
		value = NoValue
	}
	fmt.Fprintf(w, "%-28s:%s\r\n", ascii(strings.ReplaceAll(key, ":", " ")), ascii(value))
}

// ascii keeps a text on one line of 7-bit characters.
func ascii(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\r' || r == '\n' || r == '\t':
			return ' '
		case r < 0x20 || r > 0x7e:
			return '?'
		}
		return r
	}, s)
}

func number(v float64) string { return strconv.FormatFloat(v, 'G', -1, 64) }

// channel writes one channel file.
func (w *writer) channel(rec *signal.Recording, i int, code Code, cfc int) {
	ch := &rec.Channels[i]
	unitText, factor := ch.Unit, 1.0
	if ch.Measures == signal.LinearAcceleration {
		unitText, factor = "m/(s*s)", unit.G0
	}
	w.line("Test object number", "1")
	w.line("Name of the channel", ch.Name)
	w.line("Laboratory channel code", "")
	w.line("Customer channel code", "")
	w.line("Channel code", string(code))
	w.line("Unit", unitText)
	w.line("Reference system", "local")
	w.line("Reference channel", "implicit")
	w.line("Reference channel name", "")
	w.line("Data source", "transducer")
	w.line("Pre-filter type", "")
	class := ""
	if cfc > 0 {
		class = strconv.Itoa(cfc)
	}
	w.line("Channel frequency class", class)
	w.line("Channel amplitude class", positive(ch.FullScale*factor))
	w.line("Transducer id", ch.Sensor)
	w.line("Sampling interval", number(1/rec.RateHz))
	w.line("Time of first sample", number(rec.At(0)))
	w.line("Number of samples", strconv.Itoa(len(ch.Values)))
	w.extremes(rec, ch.Values, factor)
	w.line("Dimension", code.Dimension())
	w.line("Data status", "")
	for _, v := range ch.Values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			fmt.Fprint(w, NoValue, "\r\n")
			continue
		}
		w.Write(strconv.AppendFloat(w.AvailableBuffer(), v*factor, 'G', -1, 64))
		w.WriteString("\r\n")
	}
}

func positive(v float64) string {
	if !(v > 0) {
		return ""
	}
	return number(v)
}

func (w *writer) extremes(rec *signal.Recording, values []float64, factor float64) {
	high, low := -1, -1
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		if high < 0 || v > values[high] {
			high = i
		}
		if low < 0 || v < values[low] {
			low = i
		}
	}
	for _, e := range []struct {
		name string
		at   int
	}{{"maximum", high}, {"minimum", low}} {
		value, at := "", ""
		if e.at >= 0 {
			value, at = number(values[e.at]*factor), number(rec.At(e.at))
		}
		w.line("First global "+e.name+" value", value)
		w.line("Time of "+e.name+" value", at)
	}
}

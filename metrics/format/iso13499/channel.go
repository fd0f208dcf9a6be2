package iso13499

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// channelReader reads one channel file.
type channelReader struct {
	ch       *Channel
	lines    *textline.Reader
	declared int          // Number of samples; -1 when it is not said
	most     int          // values that may be kept at all
	left     int          // values that may be kept still
	bad      int          // values that are no numbers
	first    *fault.Error // of them
	extra    int          // values behind the declared number
	lastLine int          // of the last value
}

// readChannel reads header and values of a channel file. What is wrong with it
// stands in the channel; an error means that the whole source cannot be read
// on, or that there are more values than allowed.
func readChannel(ctx context.Context, ch *Channel, src io.Reader, o Options, left int) error {
	r := &channelReader{ch: ch, lines: textline.New(ctx, src, ch.File), declared: -1, most: o.maxValues(), left: left}
	line, err := r.header()
	if err != nil || ch.Fault != nil && ch.Fault.Code != BadCode {
		return err
	}
	if o.Keep != nil && !o.Keep(ch.Number, ch.Names()) {
		return nil
	}
	r.settle()
	if ch.Fault != nil && ch.Fault.Code != BadCode {
		return nil
	}
	ch.Kept = true
	return r.data(line)
}

// header reads up to the first line without a colon that is a number.
func (r *channelReader) header() (first []byte, err error) {
	ch := r.ch
	for {
		line, ok := r.lines.Next()
		if !ok {
			break
		}
		if bytes.IndexByte(line, 0) >= 0 {
			ch.fail(notText(ch.File, r.lines.Line()))
			return nil, nil
		}
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		f, ok := field(line, r.lines.Line())
		if !ok {
			_, number := textline.Number(line)
			if _, seen := ch.Header.find("Number of samples"); number || seen {
				first = line
				break
			}
			f = Field{Value: strings.TrimSpace(textline.Text(line)), Line: r.lines.Line()}
		}
		if len(ch.Header) >= maxHeaderLines {
			ch.fail(&fault.Error{Code: fault.TooLarge, Line: r.lines.Line(), What: fmt.Sprintf("%s has more than %d lines of header", ch.File, maxHeaderLines),
				Fix: "check that it is a channel file of ISO/TS 13499"})
			return nil, nil
		}
		ch.Header = append(ch.Header, f)
	}
	if err := r.lines.Err(); err != nil {
		return nil, r.own(err)
	}
	r.code()
	return bytes.Clone(first), nil
}

// own keeps a fault of this file's text to its channel.
func (r *channelReader) own(err error) error {
	if f, ok := fault.As(err); ok && f.Code == fault.TooLarge {
		r.ch.fail(f)
		return nil
	}
	return err
}

func (r *channelReader) code() {
	ch := r.ch
	text := ch.Header.Value("Channel code")
	ch.Code, ch.Line = Code(text), max(ch.Header.line("Channel code"), 1)
	if upper := strings.ToUpper(text); upper != text {
		ch.Code = Code(upper)
		ch.Notes = append(ch.Notes, fmt.Sprintf("The channel code %q of %s has small letters; capitals are taken.", clip(text), ch.File))
	}
	what := ch.Code.Check()
	if text == "" {
		what = "there is no channel code"
	}
	if what != "" {
		ch.Code = Code(text)
		ch.fail(&fault.Error{Code: BadCode, Line: ch.Line, What: ch.File + ": " + what,
			Fix: "write the code of 16 characters after ISO/TS 13499, such as D0HEAD0000H3ACXP"})
	}
}

// settle reads what the values need from the header.
func (r *channelReader) settle() {
	ch := r.ch
	h := ch.Header
	bad := func(key, what, fix string) {
		ch.fail(&fault.Error{Code: fault.TimeColumn, Line: max(h.line(key), 1), What: fmt.Sprintf("%s, key %s: %s", ch.File, key, what), Fix: fix})
	}
	if ref := h.Value("Reference channel"); strings.EqualFold(ref, "explicit") {
		bad("Reference channel", "the times stand in another channel, which cannot be read", "export the folder with implicit, even times")
		return
	}
	const interval, first, samples = "Sampling interval", "Time of first sample", "Number of samples"
	text := h.Value(interval)
	step, ok := textline.Number([]byte(text))
	if !ok || !(step >= 1e-12 && step <= 1000) {
		bad(interval, fmt.Sprintf("%q is no time in seconds between two samples", clip(text)), "write the sampling interval in seconds, such as 0.00005")
		return
	}
	ch.IntervalS, ch.IntervalDigits = step, textline.Digits([]byte(text))
	if text := h.Value(first); text == "" {
		ch.Notes = append(ch.Notes, fmt.Sprintf("%s does not say the time of its first sample; 0 s is taken.", ch.File))
	} else if ch.StartS, ok = textline.Number([]byte(text)); !ok || math.Abs(ch.StartS) > 1e9 {
		bad(first, fmt.Sprintf("%q is no time in seconds", clip(text)), "write the time of the first sample in seconds, such as -0.02")
		return
	}
	text = h.Value(samples)
	n, err := strconv.ParseInt(text, 10, 64)
	switch {
	case text == "":
		ch.Notes = append(ch.Notes, fmt.Sprintf("%s does not say its number of samples; all values are taken.", ch.File))
	case err != nil || n < 0:
		ch.Notes = append(ch.Notes, fmt.Sprintf("%s: %q is no number of samples; all values are taken.", ch.File, clip(text)))
	case n > int64(r.most):
		ch.fail(&fault.Error{Code: fault.TooLarge, Line: h.line(samples), What: fmt.Sprintf("%s declares %d samples, more than the limit of %d", ch.File, n, r.most),
			Fix: "cut the recording to the shot, or raise the limit"})
	default:
		r.declared = int(n)
	}
}

// data reads the values, the first of which has been read already.
func (r *channelReader) data(line []byte) error {
	ch := r.ch
	for ok := line != nil; ok; line, ok = r.lines.Next() {
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if r.declared >= 0 && len(ch.Values) >= r.declared {
			r.extra++
			if r.extra == 1 {
				ch.fail(&fault.Error{Code: fault.RowWidth, Line: r.lines.Line(), What: fmt.Sprintf("%s goes on behind its %d samples", ch.File, r.declared),
					Fix: "correct the number of samples, or export the folder again"})
			}
			continue
		}
		if len(ch.Values) >= r.left {
			return &fault.Error{Code: fault.TooLarge, Line: r.lines.Line(), Channel: ch.label(),
				What: fmt.Sprintf("%s: the channels used hold more than %d values", ch.File, r.most),
				Fix:  "cut the recording to the shot, bind fewer channels, or raise the limit"}
		}
		v, ok := textline.Number(line)
		if !ok {
			v = math.NaN()
			r.badValue(line)
		}
		ch.Values = append(ch.Values, v)
		r.lastLine = r.lines.Line()
	}
	if r.bad > 1 {
		r.first.What += fmt.Sprintf(" (the first of %d such values in this channel)", r.bad)
	}
	if err := r.lines.Err(); err != nil {
		return r.own(err)
	}
	if n := len(ch.Values); n > 0 && n < r.declared && !r.lines.Ended() {
		ch.Values = ch.Values[:n-1] // its line has no end: it may be cut
	}
	if n := len(ch.Values); r.declared >= 0 && n < r.declared {
		ch.fail(&fault.Error{Code: fault.Truncated, Line: max(r.lastLine, 1), What: fmt.Sprintf("%s ends after %d of %d samples", ch.File, n, r.declared),
			Fix: "export the folder again; copy it when the acquisition program has finished writing"})
	}
	return nil
}

func (r *channelReader) badValue(line []byte) {
	r.bad++
	if r.bad > 1 {
		return
	}
	text := strings.TrimSpace(textline.Text(line))
	f := &fault.Error{Code: fault.BadNumber, Line: r.lines.Line(), What: fmt.Sprintf("%s: %q is no number", r.ch.File, clip(text)),
		Fix: "check the channel's cable; numbers have a point, one stands on a line"}
	switch strings.ToLower(strings.Trim(text, "+-")) {
	case "nan", "inf", "infinity", strings.ToLower(NoValue):
		f.Code = fault.NotFinite
		f.What = fmt.Sprintf("%s: the value %q is not finite", r.ch.File, clip(text))
	}
	r.first = f
	r.ch.fail(f)
}

package wav

import (
	"errors"
	"fmt"
	"io"
	"math"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// unknown is the size that a recorder writes before it knows better.
const unknown = math.MaxUint32

// data reads the frames of the chunk "data". Memory grows with what is there,
// never with what the head declares.
func (r *reader) data(size int64) error {
	f := &r.file
	var keep []int
	for c := range f.Channels {
		if r.options.Keep == nil || r.options.Keep(c+1) {
			keep = append(keep, c)
			f.Values[c] = []float64{}
		}
	}
	start := r.at
	most := r.options.MaxValues / max(len(keep), 1)
	left := size
	open := size == unknown || size == 0 && (r.riff == 0 || r.riff == unknown)
	if open {
		left = math.MaxInt64
	}
	buf := make([]byte, max(1, (64<<10)/r.frame)*r.frame)
	for left > 0 {
		want := buf[:min(left, int64(len(buf)))]
		n, err := io.ReadFull(&ctxReader{r.ctx, r.src}, want)
		r.at += int64(n)
		left -= int64(n)
		frames := n / r.frame
		if f.Frames+frames > most {
			return &fault.Error{Code: fault.TooLarge, What: fmt.Sprintf("at byte %d the channels used hold more than %d samples", r.at, r.options.MaxValues),
				Fix: "cut the recording to the shot, bind fewer channels, or raise the limit"}
		}
		r.frames(want[:frames*r.frame], r.at-int64(n), keep)
		switch {
		case err == nil && (frames*r.frame == n || left > 0):
			continue
		case err == nil:
		case !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
			return textline.Broken(r.ctx, fmt.Sprintf("the file, at byte %d,", r.at), 0, err)
		}
		r.short(size, start, n%r.frame, open)
		break
	}
	if f.Frames == 0 {
		return &fault.Error{Code: fault.NoData, What: fmt.Sprintf("the chunk of data at byte %d holds no sample", start-8), Fix: "check that the recorder recorded, and export it again"}
	}
	return nil
}

// short says what is wrong with data that ended early or within a frame.
func (r *reader) short(size, start int64, part int, open bool) {
	f := &r.file
	switch {
	case open:
		f.Notes = append(f.Notes, fmt.Sprintf("The file does not say how much data it holds; all %d frames up to its end are taken.", f.Frames))
		if part == 0 {
			return
		}
		f.Fault = &fault.Error{What: fmt.Sprintf("the file ends at byte %d within a frame", r.at)}
	case r.at-start < size:
		f.Fault = &fault.Error{What: fmt.Sprintf("the file ends at byte %d, %d of %d bytes of data are there", r.at, r.at-start, size)}
	default:
		f.Fault = &fault.Error{What: fmt.Sprintf("the %d bytes of data end within a frame of %d bytes", size, r.frame)}
	}
	f.Fault.Code, f.Fault.Fix = fault.Truncated, "copy the file again; the recorder may not have finished writing"
}

// frames decodes whole frames, which begin at byte from, into the channels kept.
func (r *reader) frames(b []byte, from int64, keep []int) {
	f := &r.file
	n := len(b) / r.frame
	for _, c := range keep {
		values := f.Values[c]
		for at := c * r.sample.bytes; at < len(b); at += r.frame {
			v := r.sample.value(b[at:])
			if math.IsNaN(v) || math.IsInf(v, 0) {
				if f.Bad[c] == nil {
					f.Bad[c] = &fault.Error{Code: fault.NotFinite, What: fmt.Sprintf("sample %d, in the frame at byte %d, is not finite", len(values)+1, from+int64(at-c*r.sample.bytes)),
						Fix: "check the channel and the export"}
				}
				v = math.NaN()
			}
			values = append(values, v)
		}
		f.Values[c] = values
	}
	f.Frames += n
}

package score

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"
	"runtime/debug"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
)

// Options of Score. The zero value guesses the map and has no limit but the reader's.
type Options struct {
	Name         string        // of the file, for the report
	Map          *chanmap.Map  // nil: guess it
	TypedSpeedMS *float64      // impact speed typed by a person, m/s
	MaxSamples   int           // 0: the reader's own limit
	Size         int64         // of the file in bytes if known, to reserve memory once
	Calibrations []Calibration // certificates in force when the shot was fired; they hold over the map
	ResultsOnly  bool          // the report's Detail holds no signals, and their memory serves the next call
	Published    bool          // also evaluate published functions of the results, kept apart from them
}

// Score reads src to its end and computes every metric that the map has channels
// for. It never panics and always returns a report; the report's Error says what
// is wrong with the data. The digest covers all bytes of src, also those behind
// the place where reading them as data failed.
func Score(ctx context.Context, src io.Reader, o Options) (rep Report) {
	in := &hashed{ctx: ctx, src: src, hash: sha256.New()}
	if l, ok := src.(interface{ Len() int }); ok && o.Size == 0 {
		o.Size = int64(l.Len())
	}
	rep = Report{File: o.Name, Flags: []Flag{}, Results: map[string]Result{}, Engine: EngineVersion, Detail: &Detail{}}
	guarded(&rep, func() { read(ctx, in, o, &rep) })
	guarded(&rep, func() {
		if _, err := io.Copy(io.Discard, in); err != nil && rep.Error == nil {
			rep.Error = broken(ctx, err)
		}
	})
	rep.SHA256 = hex.EncodeToString(in.hash.Sum(nil))
	rep.Bytes = in.n
	return rep
}

// guarded runs f; a panic becomes the error "internal" and takes the results away.
func guarded(rep *Report, f func()) {
	defer func() {
		if r := recover(); r != nil {
			rep.Results = map[string]Result{}
			rep.Error = &fault.Error{Code: Internal, What: "the file could not be scored because of a mistake in the program",
				Fix: "keep the file and report it; the log holds the cause"}
			rep.Detail.Cause = fmt.Errorf("panic: %v\n%s", r, debug.Stack())
			rep.Error.Err = rep.Detail.Cause
		}
	}()
	f()
}

// broken describes a source that cannot be read further.
func broken(ctx context.Context, err error) *fault.Error {
	if ctx.Err() != nil {
		return &fault.Error{Code: Cancelled, What: "scoring was stopped before it was done", Fix: "score the file again", Err: context.Cause(ctx)}
	}
	return &fault.Error{Code: fault.Unreadable, What: "the file could not be read to its end", Fix: "check the disk or the network, then try again", Err: err}
}

// read fills the report from the bytes.
func read(ctx context.Context, in io.Reader, o Options, rep *Report) {
	flags := &flagSet{}
	o.Map, rep.Calibrations = inForce(o.Map, o.Calibrations, flags)
	got, err := format.Read(ctx, in, format.Options{Name: o.Name, Map: o.Map, MaxSamples: o.MaxSamples, Size: o.Size})
	if err != nil {
		if f, ok := fault.As(err); ok && ctx.Err() == nil {
			rep.Error = f
		} else {
			rep.Error = broken(ctx, err)
		}
		rep.Detail.Cause = err
		return
	}
	rep.Faults = got.Faults
	if len(got.Faults) > 0 {
		rep.Error = got.Faults[0]
	}
	if len(got.Faults) < 2 {
		rep.Faults = nil
	}
	rep.Map = &got.Map
	cross := make([]float64, len(got.Map.Channels)) // one for each channel of the recording
	for i := range cross {
		cross[i] = got.Map.Channels[i].CrossAxisPercent
	}
	if o.Map != nil { // the reader leaves out channels without a column; they are missed below
		rep.Map.Channels = o.Map.Channels
	}
	if got.Guessed {
		name := got.Map.Name
		if name == "" {
			name = "unnamed"
		}
		flags.add(MapGuessed, "", "no channel map was given; the columns were assigned by their names (%s)", name)
	}
	for _, text := range got.Unsure {
		flags.add(MapUnsure, "", "%s", text)
	}
	for _, u := range got.Conflicts {
		flags.add(UnitConflict, u.Channel, "%s", conflictText(u))
	}
	if got.Guessed {
		guessBaseline(got, flags)
	}
	c := computation{
		ctx: ctx, report: rep, flags: flags, chanmap: &got.Map, typedSpeedMS: o.TypedSpeedMS, faults: got.Faults,
		crossAxis: cross, before: got.Filtered, lean: o.ResultsOnly,
	}
	if o.ResultsOnly && got.Map.Format.Kind == "delimited" { // whose columns are lent
		for _, ch := range got.Recording.Channels {
			c.loans = append(c.loans, ch.Values)
		}
	}
	c.run(&got.Recording)
	c.giveBack()
	rep.Flags = flags.sorted()
	if ctx.Err() != nil {
		rep.Results = map[string]Result{}
		rep.Error = broken(ctx, ctx.Err())
	}
	if o.Published {
		rep.Published = published(rep.Results)
	}
}

// guessBaseline takes the first three quarters of the time before zero as baseline
// window when nobody named one. Common practice, no published source.
func guessBaseline(got *format.Reading, flags *flagSet) {
	r := &got.Recording
	if got.Map.Processing.BaselineMS > 0 || r.Len() == 0 {
		return
	}
	if ms := -750 * r.At(0); ms >= leastBaselineMS {
		got.Map.Processing.BaselineMS = math.Round(1000*ms) / 1000
		flags.add(MapUnsure, "", "No baseline window is given; the first %.4g ms, three quarters of the record before time zero, are taken.", ms)
	}
}

// leastBaselineMS is the shortest window that is worth guessing.
const leastBaselineMS = 2

// hashed counts and digests what is read through it, and stops with its context.
type hashed struct {
	ctx  context.Context
	src  io.Reader
	hash hash.Hash
	n    int64
}

func (h *hashed) Read(p []byte) (int, error) {
	if err := h.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := h.src.Read(p)
	if n > 0 {
		h.hash.Write(p[:n])
		h.n += int64(n)
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return n, fmt.Errorf("read source: %w", err)
	}
	return n, err
}

// Package scoring computes the metrics of shots whose bytes are stored: it
// opens source and channel map by their sums, runs metrics/score and gives the
// body of a score record. It writes nothing.
package scoring

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/google/uuid"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/score"
	"thudbook/sync/blob"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// maxMapBytes bounds a channel map.
const maxMapBytes = 1 << 20

// Job names what is scored: a stored source by a stored map.
type Job struct {
	Shot         uuid.UUID
	FileName     string // for messages
	Source       record.Hash
	Map          record.Hash // zero: guess the map
	TypedSpeedMS *float64
	// Calibrations are those in force when the shot was fired, see InForce. They hold
	// over the map; nil: the map alone.
	Calibrations []score.Calibration
}

// JobOf is the job of a shot as it stands, with its edits and by the map of the
// score that holds, without certificates.
func JobOf(r *view.ShotRow) Job {
	return Job{Shot: r.ID, FileName: r.Shot.FileName, Source: r.Shot.SourceSHA256, Map: r.Map(), TypedSpeedMS: r.Shot.SpeedMS}
}

// Scorer scores stored shots. It is safe for concurrent use.
type Scorer struct {
	Blobs      blob.Store
	MaxSamples int // 0: the reader's own limit
	Workers    int // of All; 0: one for each core
}

// Score computes the score of one job. What is wrong with the data is part of
// the score; an error means that nothing can be said about it: bytes missing
// or damaged (a problem), or the context done.
func (s *Scorer) Score(ctx context.Context, j Job) (*lab.Score, error) {
	rep, err := s.report(ctx, j, true)
	if err != nil {
		return nil, err
	}
	b := Body(j, &rep)
	if err := b.Validate(); err != nil {
		return nil, fmt.Errorf("score of shot %s: %w", j.Shot, err)
	}
	return b, nil
}

// Report is Score with everything that screens draw: recordings raw and
// filtered, and resultants, in Detail.
func (s *Scorer) Report(ctx context.Context, j Job) (score.Report, error) {
	return s.report(ctx, j, false)
}

// report scores one job; without the signals it needs no new memory for them.
func (s *Scorer) report(ctx context.Context, j Job, resultsOnly bool) (score.Report, error) {
	m, err := s.channelMap(ctx, j)
	if err != nil {
		if f, ok := fault.As(err); ok {
			return mapReport(j, f), nil
		}
		return score.Report{}, err
	}
	src, size, err := s.Blobs.Open(ctx, j.Source)
	if err != nil {
		return score.Report{}, fmt.Errorf("source of shot %s: %w", j.Shot, err)
	}
	rep := score.Score(ctx, src, score.Options{
		Name: j.FileName, Map: m, TypedSpeedMS: j.TypedSpeedMS, MaxSamples: s.MaxSamples, Size: size,
		Calibrations: j.Calibrations, ResultsOnly: resultsOnly,
	})
	if err := errors.Join(context.Cause(ctx), unread(&rep), src.Close()); err != nil {
		return score.Report{}, fmt.Errorf("score shot %s: %w", j.Shot, err)
	}
	if rep.SHA256 != j.Source.String() {
		e := problem.New(problem.Damaged, "the stored bytes of the shot are not those that were taken in", "run thudbook verify on this store")
		e.Where = fmt.Sprintf("shot %s, %s", j.Shot, j.FileName)
		return score.Report{}, e
	}
	return rep, nil
}

// unread gives the error of a source that could not be read to its end, which
// says nothing about the data in it.
func unread(rep *score.Report) error {
	for _, f := range append([]*fault.Error{rep.Error}, rep.Faults...) {
		if f == nil {
			continue
		}
		if p, ok := problem.As(f.Err); ok {
			return p
		}
		if f.Code == score.Cancelled || f.Code == fault.Unreadable && f.Err != nil {
			return f
		}
	}
	return nil
}

// channelMap reads the stored map; nil without one. A map that cannot be used
// is a fault.
func (s *Scorer) channelMap(ctx context.Context, j Job) (*chanmap.Map, error) {
	if j.Map == (record.Hash{}) {
		return nil, nil
	}
	r, size, err := s.Blobs.Open(ctx, j.Map)
	if err != nil {
		return nil, fmt.Errorf("channel map of shot %s: %w", j.Shot, err)
	}
	if size > maxMapBytes {
		return nil, errors.Join(r.Close(), &fault.Error{
			Code: fault.TooLarge, What: fmt.Sprintf("the channel map has %d bytes, the most is %d", size, maxMapBytes),
			Fix: "take in the shot again with its channel map",
		})
	}
	text, err := io.ReadAll(r)
	if err = errors.Join(err, r.Close()); err != nil {
		return nil, fmt.Errorf("channel map of shot %s: %w", j.Shot, err)
	}
	return chanmap.Parse(bytes.NewReader(text), "channel map "+j.Map.String()[:12])
}

func mapReport(j Job, f *fault.Error) score.Report {
	return score.Report{
		File: j.FileName, SHA256: j.Source.String(), Error: f, Engine: score.EngineVersion,
		Flags: []score.Flag{}, Results: map[string]score.Result{}, Detail: &score.Detail{},
	}
}

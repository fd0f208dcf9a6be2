package intake

import (
	"context"
	"fmt"
	"math"
	"runtime/debug"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"thudbook/metrics/fault"
	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
)

// RoleMeta is the attachment role of meta that could not be read.
const RoleMeta = "meta"

// decision is what reading the bytes came to: records ready to be appended.
type decision struct {
	id     uuid.UUID
	fault  *lab.Fault // nothing can be read: quarantine
	bound  *binding   // the confirmed shot that it is; nil: a free one
	score  *lab.Score
	kind   string
	drafts []ledger.Draft
}

// mapHash tells maps apart; that of guessing is a single byte.
func mapHash(m *Map) []byte {
	if m == nil {
		return []byte{0}
	}
	return m.Hash[:]
}

// read scores the bytes and makes the records: shot and score, or quarantine.
func (in *Intake) read(ctx context.Context, s *Submission) (*decision, error) {
	d := &decision{id: lab.ShotOf(s.Ref.SHA256)}
	if s.lost {
		d.id = uuid.New()
		d.fault = &lab.Fault{Code: "too_large", What: fmt.Sprintf("the file has %d MB, more than the %d MB that are taken in; its bytes are not kept, it stays at %s",
			s.Ref.Size>>20, in.opt.Limit>>20, clip(s.Path, 1000)), Fix: "record shorter or slower, or raise --limit-mb and start the agent anew"}
		return d, in.quarantine(s, d)
	}
	meta, kind := in.parseMeta(s)
	at, from, notes := in.effective(s, &meta)
	s.notes = append(append(s.notes, notes...), in.stepped()...)
	var err error
	if d.bound, err = in.bind(ctx, s, &meta, &kind, at); err != nil {
		return nil, err
	}
	job := scoring.Job{Shot: d.id, FileName: s.fileName(), Source: s.Ref.SHA256, Map: s.mapSum(), TypedSpeedMS: meta.SpeedMS}
	if job.Calibrations, err = in.inForce(ctx, s, at); err != nil {
		return nil, err
	}
	if s.Map != nil {
		if _, err := in.mapAttachment(ctx, s.Map); err != nil {
			return nil, err
		}
	}
	rep, err := in.score(ctx, job, s, d)
	if err != nil {
		return nil, err
	}
	if rep.Error != nil && rep.Error.Code != score.Internal && !anythingReadable(&rep) {
		f := scoring.Fault(rep.Error)
		d.fault, d.id = &f, lab.QuarantineOf(s.Ref.SHA256)
		return d, in.quarantine(s, d)
	}
	return d, in.shot(ctx, s, d, &lab.Shot{Kind: kind, Meta: meta, EffectiveAt: at, EffectiveFrom: from})
}

// inForce lists the certificates of what sits at the rig. That they cannot be
// read costs their use, never the shot.
func (in *Intake) inForce(ctx context.Context, s *Submission, at lab.Time) ([]score.Calibration, error) {
	all, err := scoring.InForce(ctx, in.opt.Views.Reader(in.opt.Store), scope.Labs(in.opt.Lab()), in.opt.Rig, at)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		in.opt.Log.Error("the certificates in force cannot be read; the shot is scored by the channel map alone", "file", s.Name, "error", err)
		s.notes = append(s.notes, note{lab.FlagCalibrationUnread, "the certificates of the mounted sensors could not be read; the channel map's sensitivities were used"})
		return nil, nil
	}
	return all, nil
}

// anythingReadable tells whether at least one sample of one channel was read.
func anythingReadable(rep *score.Report) bool {
	if rep.Detail == nil || rep.Detail.Raw == nil {
		return false
	}
	for _, c := range rep.Detail.Raw.Channels {
		for _, v := range c.Values {
			if !math.IsNaN(v) {
				return true
			}
		}
	}
	return false
}

// score runs the metrics over the stored bytes and puts the body of the score
// into d. The error is that of reading the bytes, or of the context; what is
// wrong with the data stands in the report. A mistake in the program costs the
// results, never the shot.
func (in *Intake) score(ctx context.Context, j scoring.Job, s *Submission, d *decision) (rep score.Report, err error) {
	rep, d.score, err = in.scoreOrPanic(ctx, j)
	if err != nil {
		return rep, err
	}
	cause := d.score.Validate()
	if rep.Error != nil && rep.Error.Code == score.Internal {
		cause = rep.Error.Err
	}
	if cause == nil {
		return rep, nil
	}
	in.opt.Log.Error("scoring failed; the shot is kept without results", "file", s.Name, "sha256", s.Ref.SHA256.String(), "error", cause)
	rep.Error = &fault.Error{Code: score.Internal, What: "the shot could not be scored because of a mistake in the program", Fix: "keep the file and report it; the log holds the cause"}
	f := scoring.Fault(rep.Error)
	d.score = &lab.Score{Shot: j.Shot, Engine: score.EngineVersion, MapSHA256: j.Map, TypedSpeedMS: j.TypedSpeedMS, Error: &f}
	s.notes = append(s.notes, note{lab.FlagScoringFailed, "the shot could not be scored because of a mistake in the program; its bytes are kept and can be scored later"})
	return rep, nil
}

func (in *Intake) scoreOrPanic(ctx context.Context, j scoring.Job) (rep score.Report, b *lab.Score, err error) {
	defer func() {
		if r := recover(); r != nil {
			cause := fmt.Errorf("panic: %v\n%s", r, debug.Stack())
			rep = score.Report{Error: &fault.Error{Code: score.Internal, Err: cause}}
			b, err = &lab.Score{}, nil
		}
	}()
	defer func(start time.Time) { in.scoringNS.Add(int64(time.Since(start))) }(time.Now())
	sc := scoring.Scorer{Blobs: in.opt.Blobs}
	if rep, err = sc.Report(ctx, j); err != nil {
		return rep, nil, err
	}
	return rep, scoring.Body(j, &rep), nil
}

// maxMetaNotes bounds the flags about one meta file.
const maxMetaNotes = 10

// parseMeta reads the meta. A field that cannot be used becomes a flag and costs
// only itself; what the whole said stays with the shot.
func (in *Intake) parseMeta(s *Submission) (lab.Meta, string) {
	if len(s.Meta) == 0 {
		return lab.Meta{}, ""
	}
	m, kind, faults, err := lab.ReadMeta(s.Meta)
	if err != nil {
		s.notes = append(s.notes, note{lab.FlagMetaUnreadable, "the meta that came with the file cannot be used and is kept beside it: " + sentence(err)})
	}
	for i, f := range faults {
		if i == maxMetaNotes {
			s.notes = append(s.notes, note{lab.FlagMetaField, fmt.Sprintf("%d further fields of the meta cannot be used; it is kept beside the shot", len(faults)-i)})
			break
		}
		s.notes = append(s.notes, note{lab.FlagMetaField, metaFault(f)})
	}
	s.badMeta = err != nil || len(faults) > 0
	return m, kind
}

// metaFault names the field, what is wrong with its value, and the fix.
func metaFault(err error) string {
	if p, ok := problem.As(err); ok && p.Where != "" {
		return p.Where + ": " + sentence(err)
	}
	return sentence(err)
}

// sentence words an error for a flag.
func sentence(err error) string {
	if p, ok := problem.As(err); ok {
		return strings.TrimSuffix(p.What, ".") + "; " + p.Fix
	}
	return err.Error()
}

// draft encodes a fact of this node.
func draft(id uuid.UUID, b lab.Body) (ledger.Draft, error) {
	kind, schema, body, err := lab.Encode(b)
	return ledger.Draft{Kind: kind, Schema: schema, Author: "node", UID: id, Body: body}, err
}

// recordName makes a file name fit for a record; the bytes of a name need not
// be text on every file system.
func recordName(name string) string {
	name = strings.ToValidUTF8(name, "\uFFFD")
	if name == "" {
		return "unnamed"
	}
	return clip(name, 1000)
}

func clip(s string, runes int) string {
	if utf8.RuneCountInString(s) <= runes {
		return s
	}
	return string([]rune(s)[:runes-1]) + "…"
}

func clipBytes(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

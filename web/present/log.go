package present

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// The kinds of the entries that mountings, and skipped hits, make.
const (
	LogMounted = "mounted"
	LogSkipped = "skipped"
)

// Kinds of the entries that certificates make, and shots that are made void.
const (
	LogCalibrated = "calibrated"
	LogVoid       = "made void"
)

// LogEntry is one entry of the log: exactly one of its rows is set.
type LogEntry struct {
	At          lab.Time
	Service     *view.ServiceRow
	Note        *view.NoteRow
	Mounting    *view.MountingRow
	Skip        *view.SkipRow
	Certificate *view.CalibrationRow
	Void        *view.VoidedRow
	Again       *ComputedAgain // only in the report of a day
}

func (e *LogEntry) head() *view.Head {
	switch {
	case e.Service != nil:
		return &e.Service.Head
	case e.Note != nil:
		return &e.Note.Head
	case e.Skip != nil:
		return &e.Skip.Head
	case e.Again != nil:
		return &e.Again.Head
	case e.Certificate != nil:
		return &e.Certificate.Head
	case e.Void != nil:
		return &e.Void.Head
	default:
		return &e.Mounting.Head
	}
}

// kind names the entry as in page.LogKinds.
func (e *LogEntry) kind() string {
	switch {
	case e.Service != nil:
		return "service"
	case e.Note != nil:
		return e.Note.Note.Topic
	case e.Skip != nil:
		return LogSkipped
	case e.Again != nil:
		return "computed again"
	case e.Certificate != nil:
		return LogCalibrated
	case e.Void != nil:
		return LogVoid
	default:
		return LogMounted
	}
}

func (e *LogEntry) item() uuid.UUID {
	switch {
	case e.Service != nil:
		return e.Service.Service.Item
	case e.Note != nil:
		return e.Note.Note.Item
	case e.Certificate != nil:
		return e.Certificate.Calibration.Item
	case e.Skip != nil, e.Void != nil, e.Again != nil:
		return uuid.Nil
	default:
		return e.Mounting.Mounting.Item
	}
}

// logSource is one of the lists that the log is made of.
type logSource struct {
	list  func(view.Page) ([]LogEntry, string, error)
	after string
	done  bool // read to its end
	rows  []LogEntry
	next  string
	used  int
}

func source[R any](list func(view.Page) (view.List[R], error), entry func(*R) LogEntry) *logSource {
	return &logSource{list: func(p view.Page) ([]LogEntry, string, error) {
		l, err := list(p)
		out := make([]LogEntry, 0, len(l.Rows))
		for i := range l.Rows {
			out = append(out, entry(&l.Rows[i]))
		}
		return out, l.Next, err
	}}
}

// sourcesOf are services, notes, mountings, skipped hits, certificates and voids,
// as a filter narrows them.
func sourcesOf(ctx context.Context, v *view.Reader, sc scope.Scope, f view.LogFilter) []*logSource {
	return []*logSource{
		source(func(p view.Page) (view.List[view.ServiceRow], error) { return v.ServicesDone(ctx, sc, f, p) },
			func(r *view.ServiceRow) LogEntry { return LogEntry{At: r.Service.EffectiveAt, Service: r} }),
		source(func(p view.Page) (view.List[view.NoteRow], error) { return v.Notes(ctx, sc, f, p) },
			func(r *view.NoteRow) LogEntry { return LogEntry{At: r.Note.EffectiveAt, Note: r} }),
		source(func(p view.Page) (view.List[view.MountingRow], error) { return v.MountingsDone(ctx, sc, f, p) },
			func(r *view.MountingRow) LogEntry { return LogEntry{At: r.Mounting.EffectiveAt, Mounting: r} }),
		source(func(p view.Page) (view.List[view.SkipRow], error) { return v.Skips(ctx, sc, f, p) },
			func(r *view.SkipRow) LogEntry { return LogEntry{At: r.At(), Skip: r} }),
		source(func(p view.Page) (view.List[view.CalibrationRow], error) { return v.CertificatesMade(ctx, sc, f, p) },
			func(r *view.CalibrationRow) LogEntry { return LogEntry{At: r.Calibration.EffectiveAt, Certificate: r} }),
		source(func(p view.Page) (view.List[view.VoidedRow], error) { return v.VoidsMade(ctx, sc, f, p) },
			func(r *view.VoidedRow) LogEntry { return LogEntry{At: lab.At(r.RecordedAt), Void: r} }),
	}
}

func logSources(ctx context.Context, v *view.Reader, sc scope.Scope, kind string) ([]*logSource, error) {
	all := sourcesOf(ctx, v, sc, view.LogFilter{Topic: kind})
	switch {
	case kind == "":
		return all, nil
	case kind == "service":
		return all[:1], nil
	case kind == LogMounted:
		return all[2:3], nil
	case kind == LogSkipped:
		return all[3:4], nil
	case kind == LogCalibrated:
		return all[4:5], nil
	case kind == LogVoid:
		return all[5:], nil
	case slices.Contains(lab.NoteTopics(), kind):
		return all[1:2], nil
	}
	return nil, problem.New(problem.Invalid, "The log has no entries of the kind "+strconv.Quote(kind)+".", "Choose a kind of the list.")
}

// ended marks, in a cursor, a list that was read to its end.
const ended = "."

// LogPage gives a part of the log, newest first. after is the next of the part
// before; an empty next is the end.
func LogPage(ctx context.Context, v *view.Reader, sc scope.Scope, kind, after string, limit int) (out []LogEntry, next string, err error) {
	all, err := logSources(ctx, v, sc, kind)
	if err != nil {
		return nil, "", err
	}
	if parts := strings.Split(after, "~"); after != "" && len(parts) != len(all) {
		return nil, "", problem.New(problem.Invalid, "the place in the log cannot be read", "start from the first page")
	} else if after != "" {
		for i, s := range all {
			s.after, s.done = parts[i], parts[i] == ended
		}
	}
	for _, s := range all {
		if s.done {
			continue
		}
		if s.rows, s.next, err = s.list(view.Page{Limit: limit, After: s.after}); err != nil {
			return nil, "", err
		}
	}
	for len(out) < limit {
		best := newest(all)
		if best == nil {
			break
		}
		out = append(out, best.rows[best.used])
		best.used++
	}
	more, cursor := false, make([]string, len(all))
	for i, s := range all {
		if cursor[i], err = s.cursor(); err != nil {
			return nil, "", err
		}
		more = more || cursor[i] != ended
	}
	if more {
		next = strings.Join(cursor, "~")
	}
	return out, next, nil
}

// newest is the source with the newest row; nil at the end, or where a source
// has to be read on before it can be said.
func newest(all []*logSource) *logSource {
	var best *logSource
	for _, s := range all {
		if s.used == len(s.rows) {
			if !s.done && s.next != "" {
				return nil
			}
			continue
		}
		if best == nil || s.rows[s.used].At > best.rows[best.used].At {
			best = s
		}
	}
	return best
}

// cursor is where the source goes on.
func (s *logSource) cursor() (string, error) {
	switch {
	case s.done, s.used == len(s.rows) && s.next == "":
		return ended, nil
	case s.used == len(s.rows):
		return s.next, nil
	case s.used == 0:
		return s.after, nil
	}
	_, next, err := s.list(view.Page{Limit: s.used, After: s.after})
	return next, err
}

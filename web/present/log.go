package present

import (
	"cmp"
	"context"
	"iter"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// LogMounted is the kind of the entries that mountings make.
const LogMounted = "mounted"

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
	Certificate *view.CalibrationRow
	Void        *view.VoidedRow
}

func (e *LogEntry) head() *view.Head {
	switch {
	case e.Service != nil:
		return &e.Service.Head
	case e.Note != nil:
		return &e.Note.Head
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
	case e.Void != nil:
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

// sourcesOf are services, notes, mountings, certificates and voids, as a filter
// narrows them.
func sourcesOf(ctx context.Context, v *view.Reader, sc scope.Scope, f view.LogFilter) []*logSource {
	return []*logSource{
		source(func(p view.Page) (view.List[view.ServiceRow], error) { return v.ServicesDone(ctx, sc, f, p) },
			func(r *view.ServiceRow) LogEntry { return LogEntry{At: r.Service.EffectiveAt, Service: r} }),
		source(func(p view.Page) (view.List[view.NoteRow], error) { return v.Notes(ctx, sc, f, p) },
			func(r *view.NoteRow) LogEntry { return LogEntry{At: r.Note.EffectiveAt, Note: r} }),
		source(func(p view.Page) (view.List[view.MountingRow], error) { return v.MountingsDone(ctx, sc, f, p) },
			func(r *view.MountingRow) LogEntry { return LogEntry{At: r.Mounting.EffectiveAt, Mounting: r} }),
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
	case kind == LogCalibrated:
		return all[3:4], nil
	case kind == LogVoid:
		return all[4:], nil
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

// LogView says how entries are shown.
type LogView struct {
	Read  *view.Reader
	Scope scope.Scope
	Zone  *time.Location
	Who   func(author string) string
	Lab   func(id [16]byte) string        // nil: not shown
	May   func(e *LogEntry) (link string) // to the form that corrects it; nil: nobody may
	names map[uuid.UUID]string
}

// item names an item of the register.
func (s *LogView) item(ctx context.Context, id uuid.UUID) (string, error) {
	if id == uuid.Nil {
		return "", nil
	}
	if name, ok := s.names[id]; ok {
		return name, nil
	}
	r, err := s.Read.Item(ctx, s.Scope, id)
	name := "an item that is not in the register here"
	if err == nil {
		name = r.Item.Title()
	} else if problem.Of(err) != problem.NotFound {
		return "", err
	}
	if s.names == nil {
		s.names = map[uuid.UUID]string{}
	}
	s.names[id] = name
	return name, nil
}

// lateBy is how long after the deed an entry is called late.
const lateBy = 24 * time.Hour

// Row is one entry for the screen.
func (s *LogView) Row(ctx context.Context, e *LogEntry) (page.LogRow, error) {
	h := e.head()
	r := page.LogRow{ID: h.ID.String(), At: e.At.Time().In(s.Zone), RecordedAt: h.RecordedAt.In(s.Zone), Kind: e.kind(), By: Who(h.Author, s.Who),
		Late: h.RecordedAt.Sub(e.At.Time()) > lateBy}
	var err error
	if r.About, err = s.item(ctx, e.item()); err != nil {
		return r, err
	}
	switch {
	case e.Service != nil:
		b := &e.Service.Service
		r.Text, r.Parts = b.Note, slices.Clone(b.Parts)
		for _, p := range b.Used {
			r.Parts = append(r.Parts, p.String())
		}
		if b.DurationMinutes != nil {
			r.Facts = append(r.Facts, "took "+withUnit(page.ShowWhole(*b.DurationMinutes, "min")))
		}
		if b.DoneBy != "" {
			r.Facts = append(r.Facts, "done by "+b.DoneBy)
		}
		if b.CounterStrokes != nil {
			r.Facts = append(r.Facts, "machine's own counter "+page.ShowCount(*b.CounterStrokes))
		}
	case e.Note != nil:
		r.Text, r.Parts = e.Note.Note.Text, e.Note.Note.Parts
	case e.Certificate != nil:
		s.certificate(&r, &e.Certificate.Calibration)
	case e.Void != nil:
		if err := s.void(ctx, &r, e.Void); err != nil {
			return r, err
		}
	case e.Mounting.Mounting.Item == uuid.Nil:
		r.Kind, r.Text = "taken off", "position "+e.Mounting.Mounting.Position+" is empty"
	default:
		r.Text = "at position " + e.Mounting.Mounting.Position + AlsoThere(&e.Mounting.Mounting)
	}
	if h.Withdrawn != nil {
		r.Ended = page.Status{Level: page.Plain, Word: cmp.Or(endedBy(h.Withdrawn), "withdrawn")}
	}
	if s.Lab != nil {
		r.Lab = s.Lab(h.Lab)
	}
	if s.May != nil && h.Withdrawn == nil {
		r.Correct = s.May(e)
	}
	return r, nil
}

func endedBy(m *view.Mark) string {
	if m.By != uuid.Nil || m.Reason == "corrected" {
		return "corrected since"
	}
	return "withdrawn: " + m.Reason
}

// Fill puts a part of the log on its screen.
func (s *LogView) Fill(ctx context.Context, p *page.Log, kind, after string, limit int) error {
	entries, next, err := LogPage(ctx, s.Read, s.Scope, kind, after, limit)
	if err != nil {
		return err
	}
	p.Kind = kind
	for i := range entries {
		row, err := s.Row(ctx, &entries[i])
		if err != nil {
			return err
		}
		p.Rows = append(p.Rows, row)
	}
	q := url.Values{}
	if kind != "" {
		q.Set("kind", kind)
	}
	p.CSV = page.PathLog + ".csv?" + q.Encode()
	if next != "" {
		q.Set("after", next)
		p.More = page.PathLog + "?" + q.Encode()
	}
	return nil
}

// LogHead are the columns of the log as CSV.
func LogHead() []string {
	return []string{"id", "done_at", "kind", "item", "text", "parts", "duration_minutes", "done_by", "counter_strokes", "author", "recorded_at", "ended"}
}

// Lines gives the whole log under LogHead.
func (s *LogView) Lines(ctx context.Context, kind string) iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		for after := ""; ; {
			entries, next, err := LogPage(ctx, s.Read, s.Scope, kind, after, view.MaxLimit)
			for i := range entries {
				if err == nil {
					var line []string
					if line, err = s.line(ctx, &entries[i]); err == nil && !yield(line, nil) {
						return
					}
				}
			}
			if err != nil {
				yield(nil, err)
				return
			}
			if after = next; next == "" {
				return
			}
		}
	}
}

func (s *LogView) line(ctx context.Context, e *LogEntry) ([]string, error) {
	r, err := s.Row(ctx, e)
	if err != nil {
		return nil, err
	}
	h := e.head()
	line := []string{r.ID, e.At.String(), r.Kind, r.About, r.Text, strings.Join(r.Parts, "; "), "", "", "", h.Author, h.RecordedAt.Format(time.RFC3339), r.Ended.Word}
	if e.Service != nil {
		b := &e.Service.Service
		line[6], line[7] = plain(b.DurationMinutes), b.DoneBy
		if b.CounterStrokes != nil {
			line[8] = strconv.FormatInt(*b.CounterStrokes, 10)
		}
	}
	return line, nil
}

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
		if e.At == lab.At(h.RecordedAt) { // among what was entered on a day
			on, _ := e.Certificate.Calibration.Days()
			r.Kind, r.Facts = "certificate entered", append(r.Facts, "calibrated "+on.String())
		}
	case e.Again != nil:
		r.About, r.Text, r.Facts = e.Again.Shot, e.Again.Reason, []string{"by another channel map"}
	case e.Void != nil:
		if err := s.void(ctx, &r, e.Void); err != nil {
			return r, err
		}
	case e.Skip != nil:
		if err := s.skip(ctx, e.Skip, &r); err != nil {
			return r, err
		}
	case e.Mounting.Mounting.Item == uuid.Nil:
		if err := s.takenOff(ctx, &e.Mounting.Mounting, &r); err != nil {
			return r, err
		}
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

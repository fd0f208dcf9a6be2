package intake

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/amend"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Bounds within which a file is taken for that of a confirmed shot; common
// practice, no published source.
const (
	fileBefore   = 2 * time.Minute  // that a file's own time may lie before the confirmation: the clocks of two computers
	expectedFor  = 12 * time.Hour   // that a confirmed shot waits for its file
	secondWithin = 10 * time.Minute // after a confirmation, in which one more file may be of the same trigger
)

// errExpectedGone: another file became the expected shot meanwhile.
var errExpectedGone = errors.New("another file became the expected shot")

// binding is what a confirmed shot says of a file.
type binding struct {
	row   *view.ExpectedRow
	typed []string // fields of meta that a person typed when confirming
}

// bind looks whether the file is that of the shot that a person confirmed last,
// and if so adds to meta and kind what the file's own meta leaves open.
func (in *Intake) bind(ctx context.Context, s *Submission, m *lab.Meta, kind *string, at lab.Time) (*binding, error) {
	read := in.opt.Views.Reader(in.opt.Store)
	e, err := read.LastExpected(ctx, scope.Labs(in.opt.Lab()), in.opt.Rig)
	if err != nil || e == nil {
		return nil, err
	}
	say := func(code, format string, args ...any) {
		s.notes = append(s.notes, note{code, fmt.Sprintf(format, args...)})
	}
	now := in.opt.Now()
	if !e.Open() {
		if e.Shot() != uuid.Nil && *kind == "" && now.Sub(e.Expected.EffectiveAt.Time()) < secondWithin {
			first := "as shot " + e.Shot().String()
			if r, err := read.Shot(ctx, scope.All(), e.Shot()); err == nil && r.Shot.FileName != "" {
				first = clip(r.Shot.FileName, 100)
			}
			say(lab.FlagSecondFile, "no shot was confirmed for this file; the one confirmed last, %s, has its file already: %s", present(&e.Expected), first)
		}
		return nil, nil
	}
	if why := in.notExpected(e, s, *kind, now); why != "" {
		say(lab.FlagNotExpected, "%s waits for its file, but this is taken for another: %s", present(&e.Expected), why)
		return nil, nil
	}
	for _, d := range differences(m, &e.Expected.Meta) {
		say(lab.FlagExpectedDiffers, "%s", d)
	}
	b := &binding{row: e}
	for _, name := range fill(m, &e.Expected.Meta) {
		if slices.Contains(e.Expected.MetaTyped, name) {
			b.typed = append(b.typed, name)
		}
	}
	*kind = cmp.Or(*kind, e.Expected.Kind)
	if m.OutOfChamberS == nil && e.Expected.OutOfChamberAt != 0 && at > e.Expected.OutOfChamberAt {
		m.OutOfChamberS = new(seconds(e.Expected.OutOfChamberAt, at))
	}
	if m.SinceLastImpactS == nil && m.Specimen != "" && *kind == lab.ShotHit {
		last, err := read.LastHit(ctx, scope.All(), m.Specimen, at)
		if err != nil {
			return nil, err
		}
		if last != nil {
			m.SinceLastImpactS = new(seconds(last.At, at))
		}
	}
	return b, nil
}

func seconds(from, to lab.Time) float64 { return float64(to-from) / 1000 }

// notExpected says why a file is not that of an expected shot, "" when it is.
func (in *Intake) notExpected(e *view.ExpectedRow, s *Submission, kind string, now time.Time) string {
	confirmed := e.Expected.EffectiveAt.Time()
	switch {
	case kind != "" && kind != e.Expected.Kind:
		return "its meta says that it is another kind of stroke"
	case !s.firstSeen.IsZero() && s.firstSeen.Before(confirmed):
		return "it was there before the shot was confirmed"
	case !s.ModTime.IsZero() && s.ModTime.Before(confirmed.Add(-fileBefore)):
		return fmt.Sprintf("its time lies %s before the confirmation; if it is the shot, set the clock of the acquisition's computer", confirmed.Sub(s.ModTime).Round(time.Second))
	case now.Sub(confirmed) > expectedFor:
		return fmt.Sprintf("the shot was confirmed more than %d hours ago", int(expectedFor.Hours()))
	}
	return ""
}

// present names an expected shot in a few words.
func present(e *lab.Expected) string {
	name := cmp.Or(e.Specimen, "a free shot")
	if e.Location != "" {
		name += ", " + e.Location
	}
	return name
}

// differences lists what the file's own meta says otherwise than was confirmed.
func differences(m, e *lab.Meta) (out []string) {
	for _, f := range []struct{ name, file, planned string }{
		{"specimen", m.Specimen, e.Specimen}, {"location", m.Location, e.Location}, {"condition", m.Condition, e.Condition},
		{"target speed", speedText(m.TargetSpeedMS), speedText(e.TargetSpeedMS)},
	} {
		if f.file != "" && f.planned != "" && lab.Fold(f.file) != lab.Fold(f.planned) {
			out = append(out, fmt.Sprintf("the file's meta says %s %q, confirmed was %q; the file's holds", f.name, clip(f.file, 100), clip(f.planned, 100)))
		}
	}
	return out
}

func speedText(v *float64) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf("%g m/s", *v)
}

// fill copies the fields that m does not have, and names them.
func fill(m, from *lab.Meta) (names []string) {
	to, v := reflect.ValueOf(m).Elem(), reflect.ValueOf(from).Elem()
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		if to.Field(i).IsZero() && !v.Field(i).IsZero() && name != "extra" {
			to.Field(i).Set(v.Field(i))
			names = append(names, name)
		}
	}
	return names
}

// settle makes the record that the expected shot has its file.
func (b *binding) settle(shot uuid.UUID) (ledger.Draft, error) {
	return draft(b.row.ID, &lab.ExpectedSettled{Expected: b.row.ID, Shot: shot})
}

// stillOpen looks, within the transaction, whether the expected shot has no file yet.
func (in *Intake) stillOpen(tx kv.Tx, b *binding) error {
	e, err := in.opt.Views.LastExpected(tx, scope.Labs(in.opt.Lab()), in.opt.Rig)
	if err == nil && (e == nil || e.ID != b.row.ID || !e.Open()) {
		err = errExpectedGone
	}
	return err
}

// Bind says that a shot that was taken in is the expected one, where that has no
// other shot that stands. What the shot says already is left alone.
func (in *Intake) Bind(ctx context.Context, expected, shot uuid.UUID, author string) error {
	read := in.opt.Views.Reader(in.opt.Store)
	e, err := read.Expected(ctx, scope.All(), expected)
	if err != nil {
		return err
	}
	of := record.LabID(e.Lab)
	_, err = in.Amend(ctx, shot, func(row *view.ShotRow) ([]ledger.Draft, error) {
		if e.Shot() == shot {
			return nil, nil
		}
		if other := e.Shot(); other != uuid.Nil {
			r, err := read.Shot(ctx, scope.All(), other)
			if err != nil {
				return nil, err
			}
			if !r.Void() {
				return nil, problem.New(problem.Conflict, "The confirmed shot has its file already.", "Make that shot void first, if it does not count.")
			}
		}
		if row.Lab != of {
			return nil, problem.New(problem.Invalid, "Shot and confirmation were recorded for different labs.", "Assign the shot by its form.")
		}
		want := amend.Values(&e.Expected.Meta)
		have := amend.Values(&row.Shot.Meta)
		for name := range have {
			delete(want, name)
		}
		if e.Expected.Kind != row.Shot.Kind {
			want["kind"] = e.Expected.Kind
		}
		drafts, err := amend.Correct(want, "", author)(row)
		if err != nil {
			return nil, err
		}
		d, err := draft(e.ID, &lab.ExpectedSettled{Expected: e.ID, Shot: shot})
		d.Author = author
		return append(drafts, d), err
	})
	return err
}

// Lab is the lab that shots are written for now.
func (in *Intake) Lab() record.LabID { return in.opt.Lab() }

package intake

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// timed flags a confirmed hit that did not keep the times of its campaign, as
// the plan says now. What the file's own meta says of the times holds.
func (in *Intake) timed(ctx context.Context, read *view.Reader, s *Submission, e *lab.Expected, m *lab.Meta, kind string) error {
	if kind != lab.ShotHit || e.Campaign == uuid.Nil {
		return nil
	}
	row, err := read.Campaign(ctx, scope.All(), e.Campaign)
	if problem.Of(err) == problem.NotFound {
		return nil
	} else if err != nil {
		return err
	}
	k := &row.Campaign
	say := func(code, format string, args ...any) {
		s.notes = append(s.notes, note{code, fmt.Sprintf(format, args...)})
	}
	if most := k.MostOutOfChamberS; most > 0 {
		switch out := m.OutOfChamberS; {
		case out != nil && *out > most:
			say(lab.FlagOutTooLong, "it was out of the chamber for %s; the campaign allows %s", span(*out), span(most))
		case out == nil && e.OutOfChamberAt != 0:
			say(lab.FlagTimerUnknown, "the clock was set back since the specimen left the chamber; the campaign allows %s", span(most))
		case out == nil && k.Conditioned(m.Condition):
			say(lab.FlagTimerUnknown, "nobody said when the specimen left the chamber; the campaign allows %s", span(most))
		}
	}
	if least := k.LeastRestS; least > 0 {
		switch rest := m.SinceLastImpactS; {
		case rest != nil && *rest < least:
			say(lab.FlagRestTooShort, "it was hit %s after its last hit; the campaign asks for %s", span(*rest), span(least))
		case rest == nil:
			later, err := read.LastHit(ctx, scope.All(), m.Specimen, lab.At(in.opt.Now().AddDate(100, 0, 0)))
			if err != nil {
				return err
			}
			if later != nil {
				say(lab.FlagTimerUnknown, "the last hit on the specimen is dated after this one, so its rest is not known; the campaign asks for %s", span(least))
			}
		}
	}
	return nil
}

// span is a time in words, to the second.
func span(s float64) string {
	n := int64(s + 0.5)
	switch {
	case n < 60:
		return fmt.Sprintf("%d s", n)
	case n%60 == 0:
		return fmt.Sprintf("%d min", n/60)
	}
	return fmt.Sprintf("%d min %d s", n/60, n%60)
}

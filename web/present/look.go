package present

import (
	"context"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Looked is how an item stands at a time.
type Looked struct {
	Use         upkeep.Due
	Calibration view.CalibrationState
	Needs       []Need // what asks for attention; empty when all is well
}

// Retired says that the item is out of use, and so needs nothing.
func (l *Looked) Retired() bool { return l.Use.Stated.State() == lab.StateRetired }

// Need is one thing that an item needs, Warn or Bad, and what that rests on.
type Need struct {
	State  page.Status
	Reason string
	Code   string    // for programs, as "calibration_overdue"
	Since  string    // another one of the same code is another need
	Shot   uuid.UUID // that shows it; zero: none does
}

// Look says how an item stands: its state, its service and its calibration.
// Dates are shown in the zone of the watch's moment. also names further ids of
// the item's lab.
func Look(ctx context.Context, w *upkeep.Watch, i *view.ItemRow, also ...record.LabID) (l Looked, err error) {
	v, sc, now := w.Read, w.Scope, w.Now
	if l.Use, err = w.Of(ctx, i.ID, also...); err != nil || l.Retired() {
		return l, err
	}
	l.state()
	if l.Use.Planned() {
		if s := ServiceDue(&l.Use.ServiceDue, now.Location()); s.Level != page.OK {
			s.Word = "service " + s.Word
			l.need(over(s, "service_overdue", "service_due"), DayOf(l.Use.From, time.UTC), s, PlanReason(&l.Use.ServiceDue, now.Location()))
		}
	}
	for _, c := range l.Use.Causes {
		s, reason := CauseWords(&c, now.Location())
		l.need("service_after_"+c.Code, c.Shot.String(), s, reason)
		l.Needs[len(l.Needs)-1].Shot = c.Shot
	}
	if l.Use.Rig != uuid.Nil {
		if err := l.twins(ctx, w); err != nil {
			return l, err
		}
	}
	if l.Calibration, err = v.CalibrationAt(ctx, sc, i.ID, lab.At(now)); err != nil || l.Calibration.State == view.NotRequired {
		return l, err
	}
	l.calibrated(now.Location())
	found, err := v.FoundOut(ctx, sc, i.ID)
	for j := range found {
		if found[j].Review == nil {
			word := FoundWord(&found[j].State)
			word.Word = "sensitivity changed: " + word.Word
			l.need("sensitivity_changed", found[j].Found.ID.String(), word, FoundReason(&found[j])+" The shots in between wait for a review.")
		}
	}
	return l, err
}

// twins tells of the axes of an item that disagree with another channel.
func (l *Looked) twins(ctx context.Context, w *upkeep.Watch) error {
	for _, position := range l.Use.Positions {
		twins, err := w.Twins(ctx, l.Use.Rig, position)
		if err != nil {
			return err
		}
		for i := range twins {
			l.need("disagrees_with_twin", lab.Fold(twins[i].Channel+" "+twins[i].Twin), page.Status{Level: page.Warn, Word: "disagreeing with its twin"}, TwinReason(&twins[i], position))
			l.Needs[len(l.Needs)-1].Shot = twins[i].Shot
		}
	}
	return nil
}

func (l *Looked) need(code, since string, s page.Status, reason string) {
	l.Needs = append(l.Needs, Need{State: s, Reason: reason, Code: code, Since: since})
}

// over chooses the code of what is overdue, or of what will be.
func over(s page.Status, overdue, soon string) string {
	if s.Level == page.Bad {
		return overdue
	}
	return soon
}

// state tells of an item that is not in service.
func (l *Looked) state() {
	state, mounted := l.Use.Stated.State(), l.Use.Rig != uuid.Nil
	switch {
	case mounted && (state == lab.StateQuarantined || state == lab.StateAtCalibration):
		l.need("mounted_out_of_service", DayOf(l.Use.Stated.ItemState.EffectiveAt, time.UTC), page.Status{Level: page.Bad, Word: state + ", and mounted"}, l.Use.Stated.ItemState.Reason)
	case state == lab.StateQuarantined:
		l.need("quarantined", DayOf(l.Use.Stated.ItemState.EffectiveAt, time.UTC), page.Status{Level: page.Warn, Word: state}, l.Use.Stated.ItemState.Reason)
	}
}

func (l *Looked) calibrated(zone *time.Location) {
	s := Calibration(&l.Calibration)
	if s.Level != page.Bad && s.Level != page.Warn {
		return
	}
	code, since, reason := "calibration_missing", "", "No certificate is on record."
	if k := l.Calibration.Calibration; k != nil {
		code, since = over(s, "calibration_overdue", "calibration_due"), k.ID.String()
		on, due := k.Calibration.Days()
		reason = "Certificate " + k.Calibration.Certificate + " of " + on.String() + ", due again on " + due.String() + "."
	}
	if l.Calibration.State != view.NeverCalibrated {
		s.Word = "calibration " + s.Word
	}
	l.need(code, since, s, reason)
}

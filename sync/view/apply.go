package view

import (
	"errors"
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// Apply takes one record into the views, in the transaction that stores it.
// Each record is applied once; the order does not matter. A record of an
// unknown kind or without a lab changes nothing; one of a known kind that
// cannot be used goes on the list of such records. An error is one of the
// store, and the transaction must not be committed.
func (s *Set) Apply(tx kv.Tx, r *record.Record) error {
	if r.Lab == [16]byte{} {
		return nil
	}
	known, err := s.reduce(tx, r)
	if !known {
		return nil
	}
	if err = s.orOdd(tx, r, err); err == nil {
		err = s.noteLab(tx, r)
	}
	if err != nil {
		return fmt.Errorf("view of %s %s/%d: %w", r.Kind, r.Origin(), r.Seq, err)
	}
	return nil
}

// orOdd puts a record that cannot be used on the list of such records; other
// errors stay what they are.
func (s *Set) orOdd(tx kv.Tx, r *record.Record, err error) error {
	if why := (unusable{}); errors.As(err, &why) {
		return s.odd.Put(tx, &oddRow{Lab: r.Lab, Stamp: stampOf(r), Kind: r.Kind, Author: r.Author, Why: why.Error()})
	}
	return err
}

// unusable says why a record of a known kind cannot be used.
type unusable struct{ why error }

func (u unusable) Error() string { return u.why.Error() }

// read decodes and validates a body.
func read[B any, P interface {
	*B
	lab.Body
}](r *record.Record) (*B, error) {
	b := new(B)
	if err := record.DecodeBody(r.Body, b); err != nil {
		return nil, unusable{err}
	}
	if err := P(b).Validate(); err != nil {
		return nil, unusable{err}
	}
	return b, nil
}

// stating takes in a record that states a document.
func stating[B any, P interface {
	*B
	lab.Body
}](tx kv.Tx, t *index.Table[doc[B]], r *record.Record) error {
	b, err := read[B, P](r)
	if err != nil {
		return err
	}
	if r.UID == [16]byte{} {
		return unusable{errors.New("the record names no document")}
	}
	return state(tx, t, r, b)
}

func (s *Set) reduce(tx kv.Tx, r *record.Record) (known bool, err error) {
	switch r.Kind {
	case lab.KindShot:
		return true, stating(tx, s.shots, r)
	case lab.KindSighting:
		return true, stating(tx, s.sightings, r)
	case lab.KindQuarantine:
		return true, stating(tx, s.quarantine, r)
	case lab.KindRig:
		return true, stating(tx, s.rigs, r)
	case lab.KindItem:
		return true, stating(tx, s.items, r)
	case lab.KindMounting:
		return true, stating(tx, s.mountings, r)
	case lab.KindService:
		return true, stating(tx, s.services, r)
	case lab.KindCalibration:
		return true, stating(tx, s.calibrations, r)
	case lab.KindWentOn:
		return true, stating(tx, s.wentOn, r)
	case lab.KindReview:
		return true, stating(tx, s.reviews, r)
	case lab.KindPhoto:
		return true, stating(tx, s.photos, r)
	case lab.KindDocument:
		return true, stating(tx, s.documents, r)
	case lab.KindServicePlan:
		return true, stating(tx, s.servicePlans, r)
	case lab.KindWorkOrder:
		return true, stating(tx, s.workOrders, r)
	case lab.KindOrderCancelled:
		return true, reading(r, func(b *lab.OrderCancelled) error {
			return mark(tx, s.workOrders, r, b.Order, Mark{Reason: b.Reason, Lifted: b.Lifted})
		})
	case lab.KindItemState:
		return true, stating(tx, s.states, r)
	case lab.KindCorrection:
		return true, stating(tx, s.corrections, r)
	case lab.KindCampaign:
		return true, stating(tx, s.campaigns, r)
	case lab.KindInspection:
		return true, correcting(tx, s.inspections, r, func(b *lab.Inspection) []uuid.UUID { return b.Corrects })
	case lab.KindNote:
		return true, correcting(tx, s.notes, r, func(b *lab.Note) []uuid.UUID { return b.Corrects })
	case lab.KindScore:
		return true, reading(r, func(b *lab.Score) error { return s.score(tx, r, b) })
	case lab.KindEdit:
		return true, reading(r, func(b *lab.FieldEdit) error { return s.edit(tx, r, b) })
	case lab.KindNamed:
		return true, reading(r, func(b *lab.Named) error { return s.name(tx, r, b) })
	case lab.KindPerson:
		return true, reading(r, func(b *lab.Person) error { return s.person(tx, r, b) })
	case lab.KindPersonErased:
		return true, reading(r, func(b *lab.PersonErased) error { return s.erasePerson(tx, r, b) })
	case lab.KindVoid:
		return true, reading(r, func(b *lab.Void) error {
			if err := s.voids.Put(tx, &voidRow{Lab: r.Lab, Stamp: stampOf(r), Author: r.Author, WallNS: r.WallNS, Void: *b}); err != nil {
				return err
			}
			return mark(tx, s.shots, r, b.Shot, Mark{Reason: b.Reason, Lifted: b.Lifted, Turn: b.Turn})
		})
	case lab.KindSightingSettled:
		return true, reading(r, func(b *lab.SightingSettled) error {
			return mark(tx, s.sightings, r, b.Sighting, Mark{Count: b.CountStroke})
		})
	case lab.KindQuarantineSettled:
		return true, reading(r, func(b *lab.QuarantineSettled) error {
			return mark(tx, s.quarantine, r, b.Quarantine, Mark{Reason: b.Reason, Lifted: b.Reopened, Shot: b.Shot})
		})
	case record.KindRehomed:
		return true, s.rehomed(tx, r)
	case lab.KindWithdrawn:
		return true, reading(r, func(b *lab.Withdrawn) error { return s.withdraw(tx, r, b) })
	}
	if known, err := s.reduceBooking(tx, r); known {
		return true, err
	}
	return s.reduceFiring(tx, r)
}

func reading[B any, P interface {
	*B
	lab.Body
}](r *record.Record, f func(*B) error) error {
	b, err := read[B, P](r)
	if err != nil {
		return err
	}
	return f(b)
}

func (s *Set) withdraw(tx kv.Tx, r *record.Record, b *lab.Withdrawn) error {
	m := Mark{Reason: b.Reason, Lifted: b.Lifted}
	switch b.DocKind {
	case lab.KindRig:
		return mark(tx, s.rigs, r, b.Doc, m)
	case lab.KindItem:
		return mark(tx, s.items, r, b.Doc, m)
	case lab.KindMounting:
		return mark(tx, s.mountings, r, b.Doc, m)
	case lab.KindService:
		return mark(tx, s.services, r, b.Doc, m)
	case lab.KindCalibration:
		return mark(tx, s.calibrations, r, b.Doc, m)
	case lab.KindWentOn:
		return mark(tx, s.wentOn, r, b.Doc, m)
	case lab.KindReview:
		return mark(tx, s.reviews, r, b.Doc, m)
	case lab.KindPhoto:
		return mark(tx, s.photos, r, b.Doc, m)
	case lab.KindDocument:
		return mark(tx, s.documents, r, b.Doc, m)
	case lab.KindItemState:
		return mark(tx, s.states, r, b.Doc, m)
	case lab.KindCorrection:
		return mark(tx, s.corrections, r, b.Doc, m)
	case lab.KindCampaign:
		return mark(tx, s.campaigns, r, b.Doc, m)
	case lab.KindCheckLimits:
		return mark(tx, s.checkLimits, r, b.Doc, m)
	case lab.KindAbsent:
		return mark(tx, s.absent, r, b.Doc, m)
	case lab.KindRated:
		return mark(tx, s.rated, r, b.Doc, m)
	case lab.KindStrokes:
		return mark(tx, s.unfiled, r, b.Doc, m)
	case lab.KindCounterRead:
		return mark(tx, s.readings, r, b.Doc, m)
	case lab.KindPerson:
		return s.markPerson(tx, r, b.Doc, m)
	}
	return unusable{fmt.Errorf("a %s cannot be withdrawn", b.DocKind)}
}

// noteLab remembers that a lab has records here.
func (s *Set) noteLab(tx kv.Tx, r *record.Record) error {
	_, ok, err := s.labs.Get(tx, r.Lab[:])
	if err != nil || ok {
		return err
	}
	return s.labs.Put(tx, &labRow{Lab: r.Lab})
}

func (s *Set) name(tx kv.Tx, r *record.Record, b *lab.Named) error {
	l, ok, err := s.labs.Get(tx, r.Lab[:])
	if err != nil {
		return err
	}
	if !ok {
		l = &labRow{Lab: r.Lab}
	}
	if st := stampOf(r); st.Compare(l.Stamp) > 0 {
		l.Stamp, l.Name = st, b.Name
	}
	return s.labs.Put(tx, l)
}

// Version names the layout of the tables and the rules of the reducers; a
// store whose views carry another is rebuilt.
func (s *Set) Version() string { return "19" }

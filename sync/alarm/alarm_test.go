package alarm_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/alarm"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// An alarm is one record however often it is raised, and that somebody has seen
// it is another, once.
func TestRaisedAndSeenOnce(t *testing.T) {
	l, lab, now := ledgertest.Open(t, ledgertest.Options{}), uuid.New(), time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	b := alarm.Book{Ledger: l.Ledger, Store: l.Store, Lab: func() record.LabID { return lab }, Now: func() time.Time { return now }}
	r := alarm.Raised{Alarm: "key_refused", Subject: "2026-05-04", Node: uuid.New(), Lab: lab, Text: "A key was tried."}
	for i := range 3 {
		if isNew, err := b.Raise(t.Context(), r); err != nil || isNew != (i == 0) {
			t.Fatalf("raise %d: new %t, %v", i, isNew, err)
		}
	}
	now = now.Add(time.Hour)
	other := r
	other.Subject = "2026-05-05"
	if _, err := b.Raise(t.Context(), other); err != nil {
		t.Fatal(err)
	}
	list, err := b.List(t.Context())
	if err != nil || len(list) != 2 || list[0].Raised != other || !list[0].At().Equal(now) {
		t.Fatalf("list = %+v, %v", list, err)
	}
	newest := list[0].ID
	if err := b.See(t.Context(), newest, "person", func(*alarm.Alarm) bool { return false }); problem.Of(err) != problem.NotFound {
		t.Errorf("seen by a stranger: %v", err)
	}
	for _, by := range []string{"person-1", "person-2"} {
		if err := b.See(t.Context(), newest, by, func(*alarm.Alarm) bool { return true }); err != nil {
			t.Fatal(err)
		}
	}
	if list, err = b.List(t.Context()); err != nil || list[1].ID != newest || list[1].SeenBy != "person-1" || !list[1].SeenAt().Equal(now) || !list[0].SeenAt().IsZero() {
		t.Errorf("after it was seen: %+v, %v", list, err)
	}
	var kinds []record.Kind
	recs, err := l.Read(t.Context(), l.Own(lab), 0, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	for i := range recs {
		kinds = append(kinds, recs[i].Kind)
	}
	if want := []record.Kind{record.KindGenesis, alarm.KindRaised, alarm.KindRaised, alarm.KindSeen}; !slices.Equal(kinds, want) {
		t.Errorf("records %v, want %v", kinds, want)
	}
}

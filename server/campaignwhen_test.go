package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger"
)

// TestCampaignIsMoved: where and when a campaign is to be fired is changed after
// it was laid out; two changes without sight of each other are shown, the newest
// holds as a pair of dates, and setting them again settles it.
func TestCampaignIsMoved(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Maple", 1), w.open("Lime", 1)
	base := "/api/v1/labs/" + s.id.String()
	id := s.manager.make(base+"/campaigns", map[string]any{"name": "Maple series", "specimens": []string{"M-1"}, "cells": []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 4}}})
	path := "/campaigns/" + id.String()
	shows := func(p *person, want ...string) string {
		t.Helper()
		text := words(p.get(path).want(t, 200, "the campaign").body)
		for _, x := range want {
			if !strings.Contains(text, x) {
				t.Errorf("the campaign lacks %q: %.1800s", x, text)
			}
		}
		return text
	}
	shows(s.manager, "Rig not said", "Days not said", "Change rig and days")
	if text := shows(s.operator); strings.Contains(text, "Change rig and days") {
		t.Error("an operator is offered the manager's form")
	}
	form := url.Values{"rig": {s.Rig.String()}, "starts_on": {"2031-05-05"}, "ends_on": {"2031-05-09"}}
	for _, bad := range []struct{ field, value, say string }{
		{"ends_on", "2031-05-04", "The last day is before the first."},
		{"ends_on", "", "Give the last day too"},
		{"starts_on", "soon", "is not a date"},
	} {
		if a := s.manager.form(path+"/when", with(form, bad.field, bad.value)).want(t, 422, bad.say); !strings.Contains(words(a.body), bad.say) {
			t.Errorf("%s %q is not answered with %q: %.900s", bad.field, bad.value, bad.say, words(a.body))
		}
	}
	s.manager.form(path+"/when", with(form, "rig", other.Rig.String())).want(t, 404, "a rig of another lab")
	s.operator.form(path+"/when", form).want(t, 403, "an operator")
	other.manager.form(path+"/when", form).want(t, 404, "of another lab")
	shows(s.manager, "Days not said")
	s.manager.form(path+"/when", form).want(t, 303, "moved")
	shows(s.manager, "Rig Rig 1", "Days 2031-05-05 to 2031-05-09")

	// The rig PC, which has not heard of it, writes other dates later.
	type row struct {
		Rig       *uuid.UUID
		StartsAt  lab.Time `json:"starts_at"`
		EndsAt    lab.Time `json:"ends_at"`
		Unsettled []string
	}
	now := func() row { return into[row](t, s.manager.get(base+"/campaigns/"+id.String()).want(t, 200, "the API")) }
	if r := now(); len(r.Unsettled) != 0 || r.Rig == nil || *r.Rig != s.Rig || r.EndsAt-r.StartsAt != 5*lab.DayMS {
		t.Errorf("after one change: %+v", r)
	}
	day := func(d int) lab.Time { return lab.At(time.Date(2031, 6, d, 0, 0, 0, 0, time.Local)) }
	edit := func(field string, at lab.Time) ledger.Draft {
		t.Helper()
		e, err := lab.NewEdit(id, lab.KindCampaign, field, at)
		if err != nil {
			t.Fatal(err)
		}
		return labtest.Draft(t, id, e)
	}
	// Together, as a program does: the clocks of both sides are apart by some
	// milliseconds, and one date must not be before the server's and one after.
	labtest.Append(t, s.agent.Ledger, s.id, edit("starts_at", day(2)), edit("ends_at", day(7)))
	s.sync()
	shows(s.operator, "Set by two people without sight of each other: first day 2031-05-05 and 2031-06-02; last day 2031-05-09 and 2031-06-06.")
	r := now()
	if pair := [2]lab.Time{r.StartsAt, r.EndsAt}; len(r.Unsettled) != 2 || pair != [2]lab.Time{day(2), day(7)} && r.EndsAt-r.StartsAt != 5*lab.DayMS {
		t.Errorf("two changes: %+v", r)
	}
	s.manager.put(base+"/campaigns/"+id.String()+"/schedule", `{"starts_at":"2031-07-01T00:00:00Z"}`).says(t, 422, "ends_at", "only one of its two dates")
	s.manager.put(base+"/campaigns/"+id.String()+"/schedule", `{"rig":"`+s.Rig.String()+`","starts_at":"2031-07-01T00:00:00Z","ends_at":"2031-07-03T00:00:00Z"}`).want(t, 204, "settled")
	if r = now(); len(r.Unsettled) != 0 || r.EndsAt-r.StartsAt != 2*lab.DayMS || r.Rig == nil {
		t.Errorf("settled: %+v", r)
	}
	if text := shows(s.manager); strings.Contains(text, "without sight of each other") {
		t.Error("what was settled is still asked for")
	}
	s.manager.form(path+"/when", url.Values{"rig": {""}, "starts_on": {""}, "ends_on": {""}}).want(t, 303, "taken away")
	shows(s.manager, "Rig not said", "Days not said")
}

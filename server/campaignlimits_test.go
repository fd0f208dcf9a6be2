package server_test

import (
	"net/url"
	"strings"
	"testing"

	"thudbook/sync/lab"
)

// The limits of a campaign can be set after it was laid out; a page that shows
// what somebody changed since is refused, and loses nothing.
func TestCampaignLimitsAreChanged(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Maple", 1), w.open("Lime", 1)
	base := "/api/v1/labs/" + s.id.String()
	id := s.manager.make(base+"/campaigns", map[string]any{"name": "Maple series", "specimens": []string{"M-1"}, "cells": []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 4}}})
	path := "/campaigns/" + id.String()
	form := func() url.Values {
		body := s.manager.get(path).want(t, 200, "the campaign").body
		at := strings.Index(body, `action="`+path+`/limits"`)
		if at < 0 {
			t.Fatalf("no form for the limits:\n%s", body)
		}
		return url.Values{"seen": {hidden(t, body[at:], "seen")}}
	}
	if strings.Contains(s.operator.get(path).body, path+"/limits") {
		t.Error("an operator is offered to set limits")
	}
	old := form()
	v := form()
	v.Set("acceptance_limits", "peak_linear_acceleration; 150 g; own plan")
	v.Set("inspection_limits", "bar; damaged; 3; own plan")
	v.Set("least_rest_min", "2")
	v.Set("face_contact_fails", "yes")
	s.operator.form(path+"/limits", v).want(t, 403, "an operator")
	other.manager.form(path+"/limits", v).want(t, 404, "of another lab")
	if a := s.manager.form(path+"/limits", with(v, "acceptance_limits", "loudness; 3")).want(t, 422, "no result"); !strings.Contains(a.body, "loudness; 3") || !strings.Contains(words(a.body), "is no result") {
		t.Errorf("what was typed is gone, or the reason: %.900s", words(a.body))
	}
	s.manager.form(path+"/limits", v).want(t, 303, "set")
	body := s.manager.get(path).want(t, 200, "the campaign").body
	for _, want := range []string{"own plan", "at least 2 min rest between hits", "at worst “damaged”"} {
		if !strings.Contains(words(body), want) {
			t.Errorf("the campaign lacks %q: %.1800s", want, words(body))
		}
	}
	for _, want := range []string{"peak_linear_acceleration; 150 g; own plan", "bar; damaged; 3; own plan"} {
		if !strings.Contains(body, want) {
			t.Errorf("the form does not show %q again", want)
		}
	}
	old.Set("acceptance_limits", "hic15; 700")
	if a := s.manager.form(path+"/limits", old).want(t, 409, "a page from before"); !strings.Contains(words(a.body), "Somebody else changed the limits") {
		t.Errorf("refused without the reason: %.900s", words(a.body))
	}
	if a := words(s.manager.get(path).body); !strings.Contains(a, "150 g") {
		t.Errorf("a page from before took the limit away: %.900s", a)
	}
	s.manager.form(path+"/limits", form()).want(t, 303, "taken away")
	if a := words(s.manager.get(path).body); !strings.Contains(a, "No acceptance limit is set") {
		t.Errorf("still limited: %.900s", a)
	}
}

package server_test

import (
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"thudbook/sync/lab"
)

var seenField = regexp.MustCompile(`name="seen" value="([^"]*)"`)

// seenOn gives the hidden fields of a screen that say what its forms saw, those
// of the form with the given action.
func seenOn(t *testing.T, p *person, path, action string) string {
	t.Helper()
	body := p.get(path).want(t, 200, path).body
	_, form, ok := strings.Cut(body, `method="post" action="`+action+`"`)
	m := seenField.FindStringSubmatch(form)
	if !ok || m == nil {
		t.Fatalf("%s has no form for %s that says what it saw", path, action)
	}
	return html.UnescapeString(m[1])
}

// TestStaleTabs: a form that was opened before somebody else changed what it is
// about is refused once, with what holds now and what was typed; sent again
// from the screen that says so it is written.
func TestStaleTabs(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 1)
	base := "/api/v1/labs/" + s.id.String()
	neck := s.manager.make(base+"/items", lab.Item{Class: lab.ClassNeck, Serial: "N-9"}).String()
	campaign := s.manager.make(base+"/campaigns", map[string]any{"name": "Rowan series", "specimens": []string{"R-1"}, "cells": []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 4}}}).String()
	for _, x := range []struct {
		screen, action string
		first, second  url.Values
		now, typed     string // what the refusal says, what is still typed
	}{
		{"/campaigns/" + campaign, "/campaigns/" + campaign + "/when",
			url.Values{"rig": {s.Rig.String()}, "starts_on": {"2031-05-05"}, "ends_on": {"2031-05-09"}},
			url.Values{"rig": {""}, "starts_on": {"2031-06-02"}, "ends_on": {"2031-06-06"}}, "Now it is: Rig 1.", `value="2031-06-02"`},
		{"/campaigns/" + campaign, "/campaigns/" + campaign + "/when",
			url.Values{"rig": {""}, "starts_on": {"2031-07-07"}, "ends_on": {"2031-07-08"}},
			url.Values{"rig": {""}, "starts_on": {"2031-08-04"}, "ends_on": {"2031-08-05"}}, "Now it is: 2031-07-07 to 2031-07-08.", `value="2031-08-04"`},
		{"/equipment/plans", "/equipment/plans/class", // where there was no plan
			url.Values{"lab": {s.id.String()}, "class": {"neck"}, "every_strokes": {"500"}},
			url.Values{"lab": {s.id.String()}, "class": {"neck"}, "every_days": {"91"}}, "Now it is: every 500 strokes.", `value="91"`},
		{"/equipment/plans?class=neck&lab=" + s.id.String(), "/equipment/plans/class",
			url.Values{"lab": {s.id.String()}, "class": {"neck"}, "every_days": {"30"}},
			url.Values{"lab": {s.id.String()}, "class": {"neck"}, "every_strokes": {"77"}}, "Now it is: every 30 days.", `value="77"`},
		{"/equipment/use/" + neck, "/equipment/plans",
			url.Values{"item": {neck}, "service_every_days": {"12"}},
			url.Values{"item": {neck}, "service_every_strokes": {"88"}}, "Now it is: every 12 days.", `value="88"`},
	} {
		one, other := seenOn(t, s.manager, x.screen, x.action), seenOn(t, s.manager, x.screen, x.action)
		s.manager.form(x.action, with(x.first, "seen", one)).want(t, 303, "the first tab")
		a := s.manager.form(x.action, with(x.second, "seen", other)).want(t, 409, "the stale tab")
		for _, want := range []string{"Somebody else changed this while the page was open; nothing was saved.", x.now} {
			if !strings.Contains(strings.ReplaceAll(words(a.body), "\u202f", " "), want) {
				t.Errorf("%s: the refusal lacks %q: %.1500s", x.action, want, words(a.body))
			}
		}
		if !strings.Contains(a.body, x.typed) {
			t.Errorf("%s: what was typed is lost", x.action)
		}
		_, form, _ := strings.Cut(a.body, `method="post" action="`+x.action+`"`)
		fresh := seenField.FindStringSubmatch(form)
		if fresh == nil || html.UnescapeString(fresh[1]) == other {
			t.Fatalf("%s: the refusal does not see what holds now", x.action)
		}
		s.manager.form(x.action, with(x.second, "seen", html.UnescapeString(fresh[1]))).want(t, 303, "sent again")
	}
	// A plan of another class is no hindrance.
	seen := seenOn(t, s.manager, "/equipment/plans", "/equipment/plans/class")
	s.manager.form("/equipment/plans/class", url.Values{"lab": {s.id.String()}, "class": {"hose"}, "every_days": {"365"}, "seen": {seen}}).want(t, 303, "hoses")
	s.manager.form("/equipment/plans/class", url.Values{"lab": {s.id.String()}, "class": {"ram"}, "every_days": {"365"}, "seen": {seen}}).want(t, 303, "rams, from the same page")
}

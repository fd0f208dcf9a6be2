package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// A certificate's days and those of a campaign read on every screen, in the tables
// and in the calendar feed as they were typed, in whichever zone that was.
func TestDaysTypedInAnotherZone(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Sedge", 1)
	base := "/api/v1/labs/" + s.id.String()
	day := func(n int) string { return time.Now().UTC().AddDate(0, 0, n).Format(time.DateOnly) }
	on, due, over := day(-100), day(12), day(-3)
	link := hrefOf(t, s.operator.form("/health/feed", nil).want(t, 200, "a new link").body, ".ics")
	for i, offset := range []string{"-10:00", "-05:00", "Z", "+05:30", "+12:00", "+13:00"} {
		serial := "T-" + string(rune('1'+i))
		cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: serial, Name: "cell " + offset, CalibrationRequired: true})
		k := map[string]any{"item": cell, "certificate": "K-" + serial, "effective_at": on + "T00:00:00" + offset, "due_at": due + "T23:59:59.999" + offset, "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 1.0}
		s.manager.make(base+"/calibrations", k)
		path := "/equipment/certificates/" + cell.String()
		reads := func(path string, want ...string) {
			t.Helper()
			text := words(s.operator.get(path).want(t, 200, path).body)
			for _, x := range want {
				if !strings.Contains(text, x) {
					t.Errorf("typed at %s: %s lacks %q: %.900s", offset, path, x, text)
				}
			}
		}
		reads(path, "K-"+serial+" "+on+" "+due)
		reads(path+"/list.csv", "sensor,"+serial+",K-"+serial+","+on+","+due+",")
		reads("/equipment", due+" "+serial+" sensor", on+" K-"+serial)
		reads("/equipment/use/"+cell.String(), "due again on "+due)
		reads("/health", "Certificate K-"+serial+" of "+on+", due again on "+due, due+" cell "+offset+", "+serial+" : calibration")
		ics := strings.ReplaceAll(w.stranger().get(link).want(t, 200, "the calendar").body, "\r\n ", "")
		_, event, _ := strings.Cut(ics, "UID:calibration-"+cell.String())
		event, _, _ = strings.Cut(event, "END:VEVENT")
		if !strings.Contains(event, "DTSTART;VALUE=DATE:"+strings.ReplaceAll(due, "-", "")) {
			t.Errorf("typed at %s: the calendar has %s", offset, event)
		}
		for _, k := range into[[]struct {
			On  string `json:"calibrated_on"`
			Due string `json:"due_on"`
		}](t, s.operator.get(base+"/calibrations?item="+cell.String()).want(t, 200, "the API")) {
			if k.On != on || k.Due != due {
				t.Errorf("typed at %s: by the API %+v", offset, k)
			}
		}
		for _, x := range into[[]struct {
			Serial      string
			Calibration struct {
				Due string `json:"due_on"`
			}
		}](t, s.operator.get(base+"/items?class=sensor").want(t, 200, "the API")) {
			if x.Serial == serial && x.Calibration.Due != due {
				t.Errorf("typed at %s: the item is due on %q by the API", offset, x.Calibration.Due)
			}
		}
		// The same certificate typed again on this computer is the same.
		again := url.Values{"item": {cell.String()}, "effective_at": {on}, "due_at": {due}, "certificate": {"K-" + serial}}
		if a := s.manager.form(path, again); a.status != http.StatusConflict || !strings.Contains(words(a.body), "This certificate is recorded for the item already.") {
			t.Errorf("typed at %s, and again here = %d", offset, a.status)
		}

		k["certificate"], k["effective_at"], k["due_at"] = "L-"+serial, day(-90)+"T00:00:00"+offset, over+"T23:59:59.999"+offset
		s.manager.make(base+"/calibrations", k)
		reads(path, "L-"+serial+" "+day(-90)+" "+over)

		c := s.manager.make(base+"/campaigns", map[string]any{"name": "Series " + offset, "specimens": []string{"M-1"}, "cells": []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 4}},
			"starts_at": "2031-05-05T00:00:00" + offset, "ends_at": "2031-05-10T00:00:00" + offset})
		reads("/campaigns/"+c.String(), "Days 2031-05-05 to 2031-05-09")
		if body := s.manager.get("/campaigns/" + c.String()).body; !strings.Contains(body, `value="2031-05-05"`) || !strings.Contains(body, `value="2031-05-09"`) {
			t.Errorf("typed at %s: the form of the campaign has other days", offset)
		}
	}
}

// hrefOf finds the path of an address that ends so.
func hrefOf(t *testing.T, body, end string) string {
	t.Helper()
	before, _, ok := strings.Cut(body, end)
	at := strings.LastIndex(before, "/calendar/")
	if !ok || at < 0 {
		t.Fatalf("no address that ends in %s", end)
	}
	return before[at:] + end
}

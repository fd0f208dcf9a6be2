package agent_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// An inspection of a time to come, or before its hit, is asked about once and
// recorded when it is meant so; what was typed stays.
func TestDoubtfulTimeOfAnInspection(t *testing.T) {
	r := start(t)
	for at, want := range map[time.Time]string{
		time.Now().Add(26 * time.Hour):  "This time is still to come",
		time.Now().Add(-26 * time.Hour): "This is before the hit",
	} {
		id := r.hit("H-9", 70+float64(at.Hour()))
		path := "/shots/" + id + "/inspect"
		v := url.Values{"inspection": formID.FindStringSubmatch(r.page(path))[1:2], "effective_at": {at.In(time.Local).Format("2006-01-02T15:04:05")},
			"weld_note": {"hairline crack"}, "verdict": {"passed"}}
		a := r.form(path, v)
		for _, words := range []string{want, "It is meant so; record it", "hairline crack"} {
			if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, words) {
				t.Fatalf("%s = %d without %q\n%s", v.Get("effective_at"), a.status, words, a.body)
			}
		}
		r.page("/shots/"+id, "Not inspected yet")
		v.Set("meant_so", "yes")
		v.Set("bar_mm", "much") // another fault meanwhile: the answer stays given
		if a := r.form(path, v); a.status != http.StatusUnprocessableEntity || strings.Contains(a.body, want) || !strings.Contains(a.body, `name="meant_so" value="yes" checked`) {
			t.Errorf("meant so with another fault = %d\n%s", a.status, a.body)
		}
		v.Del("bar_mm")
		if a := r.form(path, v); a.status != http.StatusSeeOther {
			t.Fatalf("meant so = %d\n%s", a.status, a.body)
		}
		r.page("/shots/"+id, "hairline crack")
	}
	// One after the specimen was hit again may be of that hit; it is asked once.
	first := r.hit("H-8", 61)
	r.hit("H-8", 62)
	late := "/shots/" + first + "/inspect"
	v := url.Values{"inspection": formID.FindStringSubmatch(r.page(late))[1:2], "effective_at": {time.Now().Add(20 * time.Second).Format("2006-01-02T15:04:05")}, "bar_grade": {"damaged"}, "bar_mm": {"3.5"}, "verdict": {"passed"}}
	if a := r.form(late, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "was hit again before this time") || !strings.Contains(a.body, "It is meant so; record it") {
		t.Errorf("inspected after the next hit = %d\n%s", a.status, a.body)
	}
	v.Set("meant_so", "yes")
	r.send(late, v, "/")
	// A verdict that no criteria propose asks why, and blames none.
	v = url.Values{"inspection": formID.FindStringSubmatch(r.page(late))[1:2], "effective_at": {seenNow()}, "verdict": {"failed"}, "meant_so": {"yes"}}
	if a := r.form(late, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "Say why it failed: no criteria led to this verdict.") {
		t.Errorf("failed without a reason = %d\n%s", a.status, a.body)
	}

	// A time of now is taken without a word.
	path := "/shots/" + r.hit("H-9", 60) + "/inspect"
	uid := formID.FindStringSubmatch(r.page(path))[1]
	r.send(path, url.Values{"inspection": {uid}, "effective_at": {seenNow()}, "verdict": {"passed"}}, "/")
}

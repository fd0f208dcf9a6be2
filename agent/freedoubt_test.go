package agent_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/google/uuid"
)

// A free hit is asked about once where a person would wonder, and is taken when
// it is meant so; names are spelled as the plans spell them.
func TestDoubtsOfFreeShots(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	shot := r.hit("FG-02", 90)
	if a := r.form("/shots/"+shot+"/inspect", url.Values{"inspection": {uuid.NewString()}, "effective_at": {seenNow()}, "bar_grade": {"damaged"}, "bar_mm": {"4"}, "verdict": {"failed"}, "reason": {"bar bent"}}); a.status != http.StatusSeeOther {
		t.Fatalf("inspect = %d\n%s", a.status, a.body)
	}
	r.plant(append(r.mounted(), campaign(t))...)
	r.page("/next", `<option value="FG-01">`, `<option value="front">`)
	v := fields(t, r.page("/next"), "/next/confirm")
	v.Del("campaign")
	v.Set("key", uuid.NewString())
	v.Set("pressure", "120")
	v.Set("specimen", "fg-02")
	v.Set("location", "chin")
	v.Set("target_speed_m_s", "55")
	a := r.form("/next/confirm", v)
	for _, want := range []string{"failed its inspection: bar bent", "It is meant so; record it", `value="fg-02"`, `value="55"`} {
		if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, want) {
			t.Fatalf("status %d without %q\n%s", a.status, want, a.body)
		}
	}
	v.Set("specimen", "fg-01")
	if a := r.form("/next/confirm", v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "The plan of FG-01 has no location &#34;chin&#34;; it has ") {
		t.Errorf("a location off the plan = %d\n%s", a.status, a.body)
	}
	v.Set("meant_so", "yes")
	if a := r.form("/next/confirm", v); a.status != http.StatusSeeOther {
		t.Fatalf("meant so = %d\n%s", a.status, a.body)
	}
	r.page("/result", "FG-01, chin")
}

package server_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// with copies a form with other values; an empty one takes the field out.
func with(v url.Values, pairs ...string) url.Values {
	out := url.Values{}
	for k, x := range v {
		out[k] = x
	}
	for i := 0; i+1 < len(pairs); i += 2 {
		out[pairs[i]] = []string{pairs[i+1]}
	}
	return out
}

// TestForms posts every form of a lab's manager: a good one leads on, a bad one
// is refused with its faults marked, and what was typed is still there.
func TestForms(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Ivy", 3)
	base := "/api/v1/labs/" + s.id.String()
	ram := s.manager.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: "R-7", ServiceEveryStrokes: 100}).String()
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-7", CalibrationRequired: true}).String()
	day := func(d int) string { return time.Now().AddDate(0, 0, d).Format(time.DateOnly) }
	id := s.id.String()
	const nobody = "01a20000-0000-7000-8000-000000000000"
	item := url.Values{"lab": {id}, "class": {"sensor"}, "serial": {"N-1"}, "name": {"new one"}, "service_every_strokes": {"1 000"}, "calibration_required": {"yes"}}
	service := url.Values{"item": {ram}, "effective_at": {day(-1) + "T09:30"}, "note": {"seals changed"}}
	calibration := url.Values{"item": {cell}, "effective_at": {day(-10)}, "due_at": {day(355)}, "certificate": {"K-1"}, "sensitivity": {"1,02"}, "sensitivity_unit": {"mV/g"}}
	mounting := url.Values{"rig": {s.Rig.String()}, "item": {cell}, "position": {"ax"}, "effective_at": {day(-20)}}
	campaign := url.Values{"lab": {id}, "name": {"Ivy series"}, "specimens": {"V-1\nV-2\n\n v-1 "}, "locations": {"front\nleft side"}, "conditions": {"ambient\nhot"}, "target_speeds_m_s": {"5.5, 7.4"}, "tolerance_m_s": {"0.2"}, "most_out_of_chamber_min": {"4,5"}, "least_rest_min": {"10"}, "planned": {"3"},
		"acceptance_limits": {"hic15; 700; 49 CFR 571.208\n\n3 ms clip, contiguous; 80,5 g\nimpact_duration; 12 ms;"},
		"inspection_limits": {"Bar; damaged; 3,5 mm; own plan\n\nweld;sound"}, "face_contact_fails": {"yes"}}
	limits := url.Values{"rig": {s.Rig.String()}, "pad": {"P-1"}, "peak_least": {"90"}, "peak_most": {"110,5"}, "source": {"the pad's certificate"}, "effective_at": {day(-1) + "T08:00"}}
	code := url.Values{"lab": {id}, "name": {"rig two"}}
	chosen := map[string]bool{"lab": true, "item": true, "rig": true, "class": true, "anew": true, "calibration_required": true, "face_contact_fails": true} // no text of the reader's
	type bad struct {
		v     url.Values
		fault string
	}
	for _, f := range []struct {
		path string
		good url.Values
		bad  map[string]bad
	}{
		{"/equipment/items", item, map[string]bad{
			"serial number twice": {with(item, "serial", " s-7 "), "serial number already"},
			"no serial number":    {with(item, "serial", " "), "This is needed"},
			"interval no number":  {with(item, "service_every_strokes", "often"), "“often” is not a whole number"},
			"interval negative":   {with(item, "service_every_strokes", "-5"), "-5 is below zero. Give zero or more."},
			"name much too long":  {with(item, "name", strings.Repeat("x", 300)), "300 characters"},
		}},
		{"/checks/limits", limits, map[string]bad{
			"no pad":        {with(limits, "pad", " "), "This is needed"},
			"exchanged":     {with(limits, "peak_least", "120"), "Exchange them"},
			"no number":     {with(limits, "hic_most", "much"), "“much” is not a number"},
			"anew, no why":  {with(limits, "anew", "yes"), "Say what was changed"},
			"in future":     {with(limits, "effective_at", day(2)), "lies in the future"},
			"below nothing": {with(limits, "peak_least", "-5"), "is below zero"},
		}},
		{"/equipment/services", service, map[string]bad{
			"no date":      {with(service, "effective_at", ""), "This is needed"},
			"no such date": {with(service, "effective_at", "31/02/2026"), "is not a date"},
			"in future":    {with(service, "effective_at", day(2)), "lies in the future"},
			"unknown item": {with(service, "item", nobody), "no such item"},
			"no id":        {with(service, "item", "ram one"), "no such item"},
		}},
		{"/equipment/calibrations", calibration, map[string]bad{
			"due before calibrated":    {with(calibration, "due_at", day(-400)), "due before it was made"},
			"unknown item":             {with(calibration, "item", nobody), "no such item"},
			"no certificate":           {with(calibration, "certificate", ""), "This is needed"},
			"sensitivity no number":    {with(calibration, "sensitivity", "1.0.2"), "“1.0.2” is not a number"},
			"sensitivity without unit": {with(calibration, "sensitivity_unit", ""), "The sensitivity has no unit"},
			"sensitivity infinite":     {with(calibration, "sensitivity", "Inf"), "is not a number"},
		}},
		{"/equipment/mountings", mounting, map[string]bad{
			"unknown rig":  {with(mounting, "rig", nobody), "no such rig"},
			"unknown item": {with(mounting, "item", nobody), "no such item"},
			"no position":  {with(mounting, "position", ""), "This is needed"},
		}},
		{"/campaigns", campaign, map[string]bad{
			"no name":           {with(campaign, "name", ""), "This is needed"},
			"name twice":        {with(campaign, "name", "IVY  series"), "campaign of this name"},
			"speed no number":   {with(campaign, "target_speeds_m_s", "5.5; fast"), "“fast” is no speed"},
			"speed zero":        {with(campaign, "target_speeds_m_s", "0"), "“0” is no speed"},
			"no shots":          {with(campaign, "planned", "0"), "between 1 and"},
			"too many cells":    {with(campaign, "locations", strings.Repeat("a\nb\nc\nd\ne\nf\ng\nh\ni\n", 1)+"j\nk\nl\nm\nn\no\np\nq\nr\ns\nt\nu\nv\nw\nx\ny\nz"), "104 cells"},
			"tolerance too big": {with(campaign, "tolerance_m_s", "500"), "500 m/s is no tolerance"},
			"limit of what":     {with(campaign, "acceptance_limits", "hic 15; 700"), "“hic 15” is no result"},
			"out for no time":   {with(campaign, "most_out_of_chamber_min", "0"), "limits nothing"},
			"rest no number":    {with(campaign, "least_rest_min", "a while"), "“a while” is not a number"},
			"limit no number":   {with(campaign, "acceptance_limits", "hic15; seven hundred"), "“seven” is not a number"},
			"no element":        {with(campaign, "inspection_limits", "visor; sound"), "“visor” is no element. Write one of bar, weld"},
			"no condition":      {with(campaign, "inspection_limits", "bar; fine"), "“fine” is no condition. Write one of sound"},
			"no millimetres":    {with(campaign, "inspection_limits", "bar; ; three"), "bar: “three” is not a number"},
			"no criterion":      {with(campaign, "inspection_limits", "bar"), "bar: this line limits nothing"},
			"element twice":     {with(campaign, "inspection_limits", "bar; sound\nbar; ; 3"), "bar stands there twice"},
			"limit in kelvin":   {with(campaign, "acceptance_limits", "peak_linear_acceleration; 300 K"), "“K” is no unit of this result. Leave it out for g"},
		}},
		{"/agents/codes", code, map[string]bad{"no name": {with(code, "name", ""), "This is needed"}}},
	} {
		a := s.manager.form(f.path, f.good).want(t, http.StatusSeeOther, "a good "+f.path)
		to := s.manager.get(a.header.Get("Location")).want(t, 200, "the screen after "+f.path)
		if !strings.Contains(to.body, `<div class="notice ok`) {
			t.Errorf("after %s the screen does not say that it was done", f.path)
		}
		for what, b := range f.bad {
			a := s.manager.form(f.path, b.v)
			if a.status != 422 && a.status != 409 || !strings.Contains(html.UnescapeString(a.body), b.fault) {
				t.Errorf("%s, %s: status %d, want a refusal that says %q", f.path, what, a.status, b.fault)
				continue
			}
			if !strings.Contains(a.body, `aria-invalid="true"`) {
				t.Errorf("%s, %s: no field is marked", f.path, what)
			}
			for name, typed := range b.v {
				if text := strings.TrimSpace(typed[0]); !chosen[name] && !strings.Contains(html.UnescapeString(a.body), text) {
					t.Errorf("%s, %s: what was typed as %s is lost", f.path, what, name)
				}
			}
		}
	}
	s.checkWritten(cell)
	a := s.manager.form("/equipment/items", with(item, "serial", "", "name", `<script>alert("x")</script>`)).want(t, 422, "markup in a name")
	if strings.Contains(a.body, "<script>alert") || !strings.Contains(a.body, "&lt;script&gt;alert") {
		t.Error("what was typed is not shown again as text")
	}
}

// checkWritten compares what the forms wrote with what was typed.
func (s *site) checkWritten(cell string) {
	t, base := s.w.t, "/api/v1/labs/"+s.id.String()
	t.Helper()
	k := into[[]struct {
		Item        string
		Certificate string
		Sensitivity float64
		DueAt       time.Time `json:"due_at"`
	}](t, s.manager.get(base+"/calibrations?item="+cell))
	end := time.Now().AddDate(0, 0, 356)
	want := time.Date(end.Year(), end.Month(), end.Day(), 0, 0, 0, 0, time.Local).Add(-time.Millisecond)
	if len(k) != 1 || k[0].Certificate != "K-1" || k[0].Sensitivity != 1.02 || !k[0].DueAt.Equal(want) {
		t.Errorf("calibrations of the sensor: %+v, want one that is good to %s", k, want)
	}
	cs := into[[]struct {
		Name      string
		Specimens []string
		Cells     []lab.Cell
		Total     struct{ Planned int }
		ID        string
		Limits    []lab.Limit           `json:"acceptance_limits"`
		Criteria  []lab.InspectionLimit `json:"inspection_limits"`
		Contact   bool                  `json:"face_contact_fails"`
	}](t, s.manager.get(base+"/campaigns"))
	for _, c := range cs {
		if c.Name == "Ivy series" {
			limits := []lab.Limit{{Result: "hic15", Most: 700, Source: "49 CFR 571.208"}, {Result: "clip_3ms", Most: 80.5, Unit: "g"}, {Result: "impact_duration", Most: 12, Unit: "ms"}}
			if !slices.Equal(c.Limits, limits) {
				t.Errorf("limits %+v, want %+v", c.Limits, limits)
			}
			if k := c.Criteria; len(k) != 2 || k[0].Element != "bar" || k[0].Worst != "damaged" || k[0].MostMM == nil || *k[0].MostMM != 3.5 || k[0].Source != "own plan" || k[1].Element != "weld" || k[1].Worst != "sound" || k[1].MostMM != nil || !c.Contact {
				t.Errorf("criteria %+v, contact fails: %v", k, c.Contact)
			}
			screen := s.manager.get("/campaigns/"+c.ID).want(t, 200, "the campaign")
			for _, want := range []string{"HIC, 15 ms", "set by the campaign: 49 CFR 571.208; the figure of", "80.5", "12.0", "at worst “damaged”, at most 3.5", "a guard that touched it fails"} {
				if !strings.Contains(screen.body, want) {
					t.Errorf("the campaign's screen does not show %q", want)
				}
			}
		}
		if c.Name == "Ivy series" && (len(c.Specimens) != 2 || len(c.Cells) != 8 || c.Total.Planned != 2*8*3) {
			t.Errorf("the campaign has %q and %d cells, %d shots planned, want 2 specimens, 8 cells, 48 shots", c.Specimens, len(c.Cells), c.Total.Planned)
		}
	}
	items := into[[]struct {
		Serial   string
		Interval int64 `json:"service_every_strokes"`
	}](t, s.manager.get(base+"/items?class=sensor"))
	n := 0
	for _, i := range items {
		if lab.Fold(i.Serial) == "s-7" {
			n++
		}
		if i.Serial == "N-1" && i.Interval != 1000 {
			t.Errorf("the interval typed as 1 000 became %d", i.Interval)
		}
	}
	if n != 1 {
		t.Errorf("serial number S-7 is in the register %d times", n)
	}
}

var keyField = regexp.MustCompile(`name="key" value="([^"]+)"`)

// TestDoubleSubmit: the same form sent several times at once is carried out
// once, and every answer leads to the same place; after a refusal the same form
// may be mended and sent.
func TestDoubleSubmit(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Juniper", 1)
	ram := s.manager.make("/api/v1/labs/"+s.id.String()+"/items", lab.Item{Class: lab.ClassRam, Serial: "R-9"}).String()
	page := s.manager.get("/equipment").body
	keys := keyField.FindAllStringSubmatch(page, -1)
	if len(keys) != 4 {
		t.Fatalf("the equipment screen has %d forms with a key, want 4", len(keys))
	}
	v := url.Values{"key": {keys[0][1]}, "item": {ram}, "effective_at": {""}, "note": {"seals"}}
	a := s.manager.form("/equipment/services", v).want(t, 422, "a service without date")
	if !strings.Contains(a.body, keys[0][1]) {
		t.Error("the form that was refused has lost its key")
	}
	v.Set("effective_at", time.Now().AddDate(0, 0, -1).Format(time.DateOnly))
	var all sync.WaitGroup
	for range 6 {
		all.Go(func() { s.manager.form("/equipment/services", v).want(t, 303, "the mended service") })
	}
	all.Wait()
	if n := len(into[[]idAnswer](t, s.manager.get("/api/v1/labs/"+s.id.String()+"/services?item="+ram))); n != 1 {
		t.Errorf("the service was recorded %d times", n)
	}
}

// TestCodeIsShownOnce: the one-time code stands on the screen after the form,
// to the person who made it, and never again.
func TestCodeIsShownOnce(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Kelp", 1)
	a := s.manager.form("/agents/codes", url.Values{"lab": {s.id.String()}, "name": {"rig two"}}).want(t, 303, "a code")
	to := a.header.Get("Location")
	if other := w.admin.get(to).want(t, 200, "the screen for someone else"); strings.Contains(other.body, `class="one-time"`) {
		t.Error("the code is shown to a person who did not make it")
	}
	if screen := s.manager.get("/agents").body; keyField.FindString(screen) == "" || keyField.FindString(screen) != keyField.FindString(s.manager.get("/agents").body) {
		t.Error("the form changes each time that the screen fetches itself again")
	}
	first := s.manager.get(to).want(t, 200, "the screen with the code")
	if !strings.Contains(first.body, `class="one-time"`) || strings.Contains(first.body, "data-refresh") {
		t.Error("the code is not shown, or on a screen that fetches itself again")
	}
	if again := s.manager.get(to).want(t, 200, "the same screen again"); strings.Contains(again.body, `class="one-time"`) || !strings.Contains(again.body, "shown once") {
		t.Error("the code is shown again")
	}
}

// TestCrossOrigin: a page of another site can do nothing with a reader's cookie.
func TestCrossOrigin(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Larch", 1)
	v := url.Values{"lab": {s.id.String()}, "class": {"sensor"}, "serial": {"X-1"}}
	for _, h := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://elsewhere.example"}} {
		s.manager.form("/equipment/items", v, h...).want(t, 403, "a form of another site")
		s.manager.do(http.MethodPost, "/api/v1/labs/"+s.id.String()+"/items", "application/json", strings.NewReader(`{"class":"sensor","serial":"X-1"}`), h...).want(t, 403, "a request of another site")
		w.stranger().form("/signin", signInForm("admin", w.firstPassword(), ""), h...).want(t, 403, "a sign-in from another site")
	}
	// Without its Content-Type a form of another site could post text that is JSON.
	s.manager.do(http.MethodPost, "/api/v1/labs/"+s.id.String()+"/items", "text/plain", strings.NewReader(`{"class":"sensor","serial":"X-1"}`)).want(t, 422, "JSON that is not marked as such")
	s.manager.form("/equipment/items", v, "Sec-Fetch-Site", "same-origin").want(t, 303, "the server's own form")
}

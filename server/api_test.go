package server_test

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
)

type shotLine struct {
	ID       string
	File     string
	Lab      string
	LabName  string    `json:"lab_name"`
	FiredAt  time.Time `json:"fired_at"`
	Specimen string
	Location string
	SpeedMS  *float64 `json:"speed_m_s"`
	Results  map[string]lab.Result
	Flags    []lab.Flag
}

type shotPage struct {
	Shots []shotLine
	Next  string
}

// TestShotsOverPages reads a list of shots part by part: each shot once, newest
// first, under the real lab also where it was written before enrolment.
func TestShotsOverPages(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Maple", 23)
	w.open("Nettle", 4)
	var got []string
	last := time.Now().Add(time.Hour)
	for next, parts := "/api/v1/shots?limit=5&lab="+s.id.String(), 0; next != ""; parts++ {
		page := into[shotPage](t, w.admin.get(next).want(t, 200, next))
		for _, x := range page.Shots {
			if x.FiredAt.After(last) || x.Lab != s.id.String() || x.LabName != s.name {
				t.Errorf("shot %s of lab %s (%s), fired at %s, stands behind %s", x.ID, x.Lab, x.LabName, x.FiredAt, last)
			}
			last = x.FiredAt
			got = append(got, x.ID)
		}
		if next = page.Next; parts > 10 {
			t.Fatal("the list does not end")
		}
	}
	want := make([]string, 0, len(s.Shots))
	for _, id := range s.Shots {
		want = append(want, id.String())
	}
	slices.Reverse(want)
	if !slices.Equal(got, want) {
		t.Errorf("the parts hold %d shots, want the %d that the agent wrote, newest first", len(got), len(want))
	}
	one := into[shotPage](t, s.operator.get("/api/v1/shots?specimen="+url.QueryEscape("maple  SPECIMEN")))
	if len(one.Shots) != 1 || one.Shots[0].File != "Maple-real.csv" || one.Shots[0].Location != "Maple side" || *one.Shots[0].SpeedMS != 5.5 || one.Next != "" {
		t.Errorf("shots of the specimen: %+v", one)
	}
	if r := one.Shots[0].Results["peak_linear_acceleration"]; r.Unit != "g" || r.Value < 80 || r.Value > 110 {
		t.Errorf("peak: %+v", r)
	}
	for query, status := range map[string]int{"limit=0": 422, "limit=many": 422, "limit=1001": 422, "after=nonsense": 422, "lab=" + s.Lab.String(): 404, "lab=x": 404} {
		a := w.admin.get("/api/v1/shots?"+query).want(t, status, query)
		if e := into[struct {
			Error struct{ Code, What, Fix string }
		}](t, a).Error; e.What == "" || e.Fix == "" {
			t.Errorf("%s: %+v", query, e)
		}
	}
	s.screens()
}

// screens walks the list of shots on the screens, older and back.
func (s *site) screens() {
	t := s.w.t
	t.Helper()
	labtest.FillLab(t, s.agent.Ledger, 120, labtest.Options{Lab: s.id, Blobs: s.agent.Blobs, Seed: 99, First: time.Now().Add(-300 * time.Hour)})
	s.sync()
	link := func(body, rel string) string {
		_, rest, ok := strings.Cut(body, `rel="`+rel+`"`)
		if !ok {
			return ""
		}
		_, rest, _ = strings.Cut(rest, `href="`)
		href, _, _ := strings.Cut(rest, `"`)
		return strings.ReplaceAll(href, "&amp;", "&")
	}
	rows := func(body string) []string {
		var out []string
		for _, part := range strings.Split(body, `class="rowlink" href="/shots/`)[1:] {
			id, _, _ := strings.Cut(part, `"`)
			out = append(out, id)
		}
		return out
	}
	var parts [][]string
	path := "/shots?lab=" + s.id.String()
	for path != "" && len(parts) < 9 {
		body := s.w.admin.get(path).want(t, 200, path).body
		parts = append(parts, rows(body))
		if next := link(body, "next"); next != "" {
			path = next
			continue
		}
		break
	}
	n := 0
	for _, p := range parts {
		n += len(p)
	}
	if len(parts) != 3 || n != 24+120 {
		t.Fatalf("%d shots on %d screens, want 144 on 3", n, len(parts))
	}
	for i := len(parts) - 2; i >= 0; i-- {
		body := s.w.admin.get(path).body
		if path = link(body, "prev"); path == "" {
			t.Fatalf("no link to what is newer from part %d", i+1)
		}
		if got := rows(s.w.admin.get(path).want(t, 200, path).body); !slices.Equal(got, parts[i]) {
			t.Errorf("going back to part %d shows %d other shots than going on did", i, len(got))
		}
	}
}

// TestShot: the whole of a shot, and its bytes as they were recorded.
func TestShot(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Oak", 3)
	a := into[struct {
		shotLine
		SHA256     string
		Error      any
		Scores     []struct{ Engine string }
		Meta       struct{ Operator string }
		Source     string
		SourceHere bool `json:"source_here"`
	}](t, s.operator.get("/api/v1/shots/"+s.newest()).want(t, 200, "the shot"))
	if a.ID != s.newest() || a.Meta.Operator != "Oak op" || len(a.Scores) != 1 || !a.SourceHere || a.Error != nil || a.Results["hic15"].Value == 0 || len(a.Flags) == 0 {
		t.Errorf("the shot: %+v", a)
	}
	src := s.operator.get(a.Source).want(t, 200, "the source")
	ref, err := s.agent.Blobs.Put(t.Context(), strings.NewReader(src.body), 0)
	if err != nil || ref.SHA256.String() != a.SHA256 {
		t.Errorf("the source has the sum %s, want %s (%v)", ref.SHA256, a.SHA256, err)
	}
	if d := src.header.Get("Content-Disposition"); d != "attachment; filename=Oak-real.csv" || src.header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the source may be shown by a browser: %q", d)
	}
	page := s.operator.get("/shots/"+s.newest()).want(t, 200, "the screen")
	for _, want := range []string{"Oak-real.csv", "Oak side", "HIC, 15 ms", `class="trace-static"`, "kept on this server", "Oak lab"} {
		if !strings.Contains(page.body, want) {
			t.Errorf("the shot's screen does not show %q", want)
		}
	}
	traces := s.operator.get("/shots/"+s.newest()+"/traces.bin?buckets=100").want(t, 200, "the traces")
	if len(traces.body) < 1000 || traces.header.Get("Content-Type") != "application/octet-stream" {
		t.Errorf("the traces have %d bytes of %s", len(traces.body), traces.header.Get("Content-Type"))
	}
	s.operator.get("/shots/"+s.newest()+"/traces.bin?buckets=x").want(t, 422, "a wrong number of buckets")
	if strings.Contains(page.body, "Maximax") {
		t.Error("shock spectra are computed without being asked for")
	}
	page = s.operator.get("/shots/"+s.newest()+"?shock=yes&per_octave=3").want(t, 200, "the screen with spectra")
	for _, want := range []string{`id="shock" class="shock" open`, "Maximax absolute acceleration, Q = 10", "natural frequency, Hz"} {
		if !strings.Contains(page.body, want) {
			t.Errorf("the screen with spectra does not show %q", want)
		}
	}
	spectra := s.operator.get("/shots/"+s.newest()+"/shock.csv?per_octave=3").want(t, 200, "the spectra")
	if lines := strings.Count(spectra.body, "\n"); lines < 10 || !strings.HasPrefix(spectra.body, "channel,axis,cfc,q,frequency_hz,maximax_g") {
		t.Errorf("%d lines of spectra: %.200s", lines, spectra.body)
	}
	s.operator.get("/shots/"+s.newest()+"/shock.csv?q=x").want(t, 422, "a wrong Q")
	s.operator.get("/shots/nonsense").want(t, 404, "a shot without id")
}

// TestBytesNotHereYet: the record of a shot may come before its bytes.
func TestBytesNotHereYet(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Pine", 1)
	id := labtest.ID("no bytes")
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, labtest.Shot(s.Rig, time.Now(), func(x *lab.Shot) { x.MapSHA256 = record.Hash{} })))
	s.sync()
	a := s.operator.get("/api/v1/shots/"+id.String()+"/source").want(t, 404, "bytes that have not arrived")
	if e := into[struct{ Error struct{ What, Fix string } }](t, a).Error; !strings.Contains(e.What, "still on the rig PC") || e.Fix == "" {
		t.Errorf("the answer does not say where the bytes are: %+v", e)
	}
	page := s.operator.get("/shots/"+id.String()).want(t, 200, "the screen")
	if !strings.Contains(page.body, "still on the rig PC") || strings.Contains(page.body, "Download the original") {
		t.Error("the screen does not say where the bytes are")
	}
	if !strings.Contains(s.operator.get("/shots").body, id.String()) {
		t.Error("the shot is not on the list")
	}
}

// TestEquipmentInWords: strokes since service against the interval, and due
// dates, on the screens and in the API.
func TestEquipmentInWords(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Quince", 40)
	base, now := "/api/v1/labs/"+s.id.String(), time.Now()
	ram := s.manager.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: "QR-1", Name: "Quince ram", ServiceEveryStrokes: 45, OpeningStrokes: 3})
	s.manager.make(base+"/mountings", lab.Mounting{Rig: s.Rig, Position: "the ram", Item: ram, EffectiveAt: lab.At(now.AddDate(0, 0, -1))})
	for serial, due := range map[string]int{"QS-late": -12, "QS-soon": 9, "QS-good": 200} {
		id := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: serial, CalibrationRequired: true})
		s.manager.make(base+"/calibrations", lab.Calibration{Item: id, EffectiveAt: lab.At(now.AddDate(-1, 0, due)), DueAt: lab.At(now.Add(time.Duration(24*due)*time.Hour + time.Minute*time.Duration(5*due))), Certificate: "C"})
	}
	s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "QS-never", CalibrationRequired: true})
	type item struct {
		Serial string
		Since  int64                  `json:"strokes_since_service"`
		Total  int64                  `json:"total_strokes"`
		State  struct{ State string } `json:"calibration"`
	}
	states := map[string]string{}
	for _, i := range into[[]item](t, s.operator.get(base+"/items")) {
		states[i.Serial] = i.State.State
		if i.Serial == "QR-1" && (i.Since != 44 || i.Total != 44) {
			t.Errorf("the ram has %d strokes since service of %d, want 3 before the register and 41 of the agent", i.Since, i.Total)
		}
	}
	for serial, want := range map[string]string{"QS-late": "overdue", "QS-soon": "due soon", "QS-good": "ok", "QS-never": "never calibrated", "QR-1": "not required"} {
		if states[serial] != want {
			t.Errorf("%s is %q, want %q", serial, states[serial], want)
		}
	}
	body := s.operator.get("/equipment").want(t, 200, "equipment").body
	for _, want := range []string{"due in 1 stroke", "overdue by 12 days", "due in 9 days", "in calibration", "no calibration recorded"} {
		if !strings.Contains(body, want) {
			t.Errorf("the equipment screen does not say %q", want)
		}
	}
	if strings.Contains(body, `action="/equipment/items"`) {
		t.Error("an operator is offered the manager's forms")
	}
	over := s.operator.get("/").want(t, 200, "overview").body
	order := []string{"QS-late", "QS-soon"}
	if a, b := strings.Index(over, order[0]), strings.Index(over, order[1]); a < 0 || b < 0 || a > b || strings.Contains(over, "QS-good") {
		t.Error("the overview does not list what is overdue before what is due soon, and nothing else")
	}
	s.manager.make(base+"/services", lab.Service{Item: ram, EffectiveAt: lab.At(now), Note: "seals"})
	for _, i := range into[[]item](t, s.operator.get(base+"/items?class=ram")) {
		if i.Serial == "QR-1" && (i.Since != 0 || i.Total != 44) {
			t.Errorf("after the service the ram has %d strokes of %d", i.Since, i.Total)
		}
	}
}

// TestCampaignByCell counts the agent's shots in the cells of a campaign made
// on the server, those from before enrolment too.
func TestCampaignByCell(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 60)
	base := "/api/v1/labs/" + s.id.String()
	id := s.manager.make(base+"/campaigns", lab.Campaign{Name: "Rowan cells", Specimens: []string{"H-01", "H-02", "H-03"}, Cells: []lab.Cell{
		{Location: "front", Condition: "ambient", TargetSpeedMS: 5.5, Planned: 20}, {Location: "left side", Condition: "ambient", TargetSpeedMS: 5.5, Planned: 1},
		{Location: "crown", TargetSpeedMS: 5.5, Planned: 2}}}).String()
	// Counted again here from the list of shots.
	want := map[string]int{}
	for _, x := range into[shotPage](t, s.manager.get("/api/v1/shots?limit=500")).Shots {
		if strings.HasPrefix(x.Specimen, "H-") {
			full := into[struct {
				Void bool
				Kind string
				Meta lab.Meta
			}](t, s.manager.get("/api/v1/shots/"+x.ID))
			if !full.Void && full.Kind == lab.ShotHit && (full.Meta.Condition == "ambient" || x.Location == "crown") { // the cell of the crown names no condition
				want[x.Specimen+" "+x.Location]++
			}
		}
	}
	got := into[struct {
		Total struct{ Planned, Done int }
		Cells []struct {
			Specimen, Location string
			Planned, Done      int
		} `json:"by_specimen_and_cell"`
	}](t, s.operator.get(base+"/campaigns/"+id).want(t, 200, "progress"))
	sum := 0
	for _, x := range got.Cells {
		if x.Done != want[x.Specimen+" "+x.Location] {
			t.Errorf("%s, %s: %d done, want %d", x.Specimen, x.Location, x.Done, want[x.Specimen+" "+x.Location])
		}
		sum += min(x.Done, x.Planned)
	}
	if len(got.Cells) != 9 || got.Total.Planned != 69 || got.Total.Done != sum || sum < 10 {
		t.Errorf("%d cells, %d of %d done, want 9 cells, %d of 69", len(got.Cells), got.Total.Done, got.Total.Planned, sum)
	}
	body := s.operator.get("/campaigns/"+id).want(t, 200, "the screen").body
	for _, text := range []string{fmt.Sprintf(`<span class="num">%d</span> of <span class="num">69</span> shots done`, sum), "not begun", "crown", "5.50\u00a0m/s"} {
		if !strings.Contains(body, text) {
			t.Errorf("the campaign's screen does not show %q", text)
		}
	}
	for _, text := range []string{"Not counted", "target speed not in the plan"} {
		if !strings.Contains(body, text) {
			t.Errorf("the campaign's screen does not say %q of shots that no cell counts", text)
		}
	}
	list := s.operator.get("/shots?campaign="+id).want(t, 200, "its shots").body
	if strings.Contains(list, "Rowan specimen") || !strings.Contains(list, "H-02") {
		t.Error("the list by campaign shows other specimens, or not its own")
	}
}

func TestBadBodies(t *testing.T) {
	t.Parallel()
	w := start(t)
	id := w.admin.make("/api/v1/labs", map[string]string{"name": "Spruce lab"}).String()
	items := "/api/v1/labs/" + id + "/items"
	for body, want := range map[string]string{
		``:                                     "it ends too early",
		`{`:                                    "it ends too early",
		`[]`:                                   "does not take",
		`{"class":"ram","serial":1}`:           `the field "serial" does not take a number`,
		`{"class":"ram","serail":"R"}`:         `unknown field "serail"`,
		`{"class":"ram","serial":"R"} {}`:      "something follows",
		`{"class":"","serial":""}`:             "class: the text is missing; item, serial",
		`{"class":"ram","serial":"R"`:          "it ends too early",
		`{"class":"ram","serial":"R",}`:        "not JSON at byte",
		`"` + strings.Repeat("x", 2<<20) + `"`: "larger than",
	} {
		a := w.admin.do(http.MethodPost, items, "application/json", strings.NewReader(body))
		if a.status != 422 && a.status != 413 || !strings.Contains(strings.ReplaceAll(a.body, `\"`, `"`), want) {
			t.Errorf("body %.40q: status %d, want a refusal that says %q: %.300s", body, a.status, want, a.body)
		}
	}
	w.admin.post("/api/v1/labs", map[string]string{"name": " spruce  LAB"}).want(t, 409, "the name of a lab twice")
	w.admin.post("/api/v1/labs", map[string]string{"name": ""}).want(t, 422, "a lab without name")
	w.admin.post("/api/v1/labs/01a20000-0000-7000-8000-000000000000/items", lab.Item{Class: "ram", Serial: "R"}).want(t, 404, "an item of no lab")
	w.admin.post("/api/v1/accounts", map[string]any{"login": "x y", "password": "short"}).want(t, 422, "a bad account")
	w.admin.post("/api/v1/accounts", map[string]any{"login": "admin", "password": "a long password"}).want(t, 409, "a sign-in name twice")
	w.admin.post("/api/v1/accounts", map[string]any{"login": "who", "password": "a long password", "grants": []any{map[string]any{"lab": id, "role": "king"}}}).want(t, 422, "no such role")
}

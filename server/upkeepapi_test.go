package server_test

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server/evidence"
	"thudbook/sync/lab"
)

func (p *person) put(path, body string) answer {
	p.t.Helper()
	return p.do(http.MethodPut, path, "application/json", strings.NewReader(body))
}

func (p *person) del(path string) answer {
	p.t.Helper()
	return p.do(http.MethodDelete, path, "", nil)
}

// says fails the test unless the answer has the status and its problem ends its
// place with where and says the words.
func (a answer) says(t *testing.T, status int, where, what string) {
	t.Helper()
	e := into[struct {
		Error struct{ What, Where, Fix string }
	}](t, a).Error
	if a.status != status || !strings.HasSuffix(e.Where, where) || !strings.Contains(e.What, what) || e.Fix == "" {
		t.Errorf("status %d, %+v; want %d at %q that says %q", a.status, e, status, where, what)
	}
}

type orderRow struct {
	ID              uuid.UUID
	State           string
	Cause, Reason   string
	Service         *struct{ ID uuid.UUID }
	Further         []struct{ ID uuid.UUID } `json:"further_services"`
	CancelledReason string                   `json:"cancelled_reason"`
}

// TestUpkeepAPI sets plans, opens a work order from one, and closes it by a
// service, as a program does.
func TestUpkeepAPI(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Willow", 30)
	base := "/api/v1/labs/" + s.id.String()
	ram := s.Ram.String()
	m := s.manager

	m.put(base+"/service-plans/trebuchet", `{"every_days":1}`).says(t, 404, "class", "no such kind")
	m.put(base+"/service-plans/ram", `{}`).says(t, 422, "every_strokes", "nothing due")
	m.put(base+"/service-plans/ram", `{"every_strokes":10,"warn_strokes":10}`).says(t, 422, "warn_strokes", "all the time")
	m.put(base+"/service-plans/ram", `{"every_strokes":-1}`).says(t, 422, "every_strokes", "")
	m.put(base+"/service-plans/ram", `{"every_furlongs":1}`).says(t, 422, "", "unknown field")
	s.operator.put(base+"/service-plans/ram", `{"every_strokes":10}`).want(t, 403, "an operator's plan")
	m.put(base+"/service-plans/Light%20Gate", `{"every_days":90,"after_speed_drift":true}`).want(t, 204, "a plan by days and condition")
	m.put(base+"/items/"+ram+"/service-plan", `{"every_strokes":10}`).want(t, 204, "an own plan")
	type plans struct {
		Classes []struct {
			Class      string
			EveryDays  int64 `json:"every_days"`
			AfterDrift bool  `json:"after_speed_drift"`
		}
		Items []struct {
			Item         uuid.UUID
			None         bool
			EveryStrokes int64 `json:"every_strokes"`
		}
	}
	all := into[plans](t, s.operator.get(base+"/service-plans").want(t, 200, "the plans"))
	if len(all.Classes) != 1 || all.Classes[0].Class != lab.ClassLightGate || all.Classes[0].EveryDays != 90 || !all.Classes[0].AfterDrift {
		t.Errorf("plans of classes: %+v", all.Classes)
	}
	if len(all.Items) != 1 || all.Items[0].Item != s.Ram || all.Items[0].EveryStrokes != 10 {
		t.Errorf("plans of items: %+v", all.Items)
	}

	orders := base + "/work-orders"
	m.post(orders, map[string]any{"item": ram, "cause": "failed_check", "what": "look"}).says(t, 409, "cause", "not due by this")
	m.post(orders, map[string]any{"item": ram}).says(t, 422, "what", "missing")
	m.post(orders, map[string]any{"item": uuid.NewString(), "cause": "plan", "what": "look"}).want(t, 404, "an item that is not there")
	m.get(orders+"?state=lost").says(t, 422, "state", "no such state")
	m.get(orders+"?item=x").says(t, 422, "item", "no id")
	id := m.make(orders, map[string]any{"item": ram, "cause": "plan", "what": "change the seals"})
	one := orders + "/" + id.String()
	if o := into[orderRow](t, s.operator.get(one).want(t, 200, "the order")); o.State != "open" || !strings.HasPrefix(o.Reason, "Service overdue by") || o.Service != nil {
		t.Errorf("the order: %+v", o)
	}
	m.post(orders, map[string]any{"item": ram, "what": "again"}).says(t, 409, "item", "has an open work order")
	if body := s.operator.get("/equipment/orders").body; !strings.Contains(body, "change the seals") {
		t.Error("the screen does not show the program's order")
	}
	m.post(one+"/cancel", map[string]any{"reason": ""}).says(t, 422, "reason", "missing")
	m.post(one+"/cancel", map[string]any{"reason": "at the maker"}).want(t, 204, "cancelled")
	if o := into[orderRow](t, m.get(one)); o.State != "cancelled" || o.CancelledReason != "at the maker" {
		t.Errorf("cancelled: %+v", o)
	}
	m.post(one+"/close", map[string]any{}).want(t, 409, "closing a cancelled one")
	m.post(one+"/reopen", map[string]any{"reason": "back"}).want(t, 204, "open again")
	m.post(one+"/close", map[string]any{"item": uuid.NewString()}).says(t, 409, "item", "another item")
	m.post(one+"/close", map[string]any{"work_order": uuid.NewString()}).says(t, 409, "work_order", "another work order")
	m.post(one+"/close", map[string]any{"used": []any{map[string]any{"name": "seal", "quantity": 0}}}).says(t, 422, "used, line 1", "0 pieces")
	s.operator.post(one+"/close", map[string]any{}).want(t, 403, "an operator closing it")
	service := m.make(one+"/close", map[string]any{"note": "seals changed", "counter_strokes": 700, "done_by": "workshop"})
	m.post(one+"/close", map[string]any{}).want(t, 409, "closed twice at one server")
	if o := into[orderRow](t, m.get(one)); o.State != "done" || o.Service == nil || o.Service.ID != service || len(o.Further) != 0 {
		t.Errorf("done: %+v", o)
	}
	if open := into[[]orderRow](t, m.get(orders+"?state=open&item="+ram)); len(open) != 0 {
		t.Errorf("still open: %+v", open)
	}
	if done := into[[]orderRow](t, m.get(orders+"?state=done&item="+ram)); len(done) != 1 || done[0].ID != id {
		t.Errorf("done: %+v", done)
	}
	for _, i := range into[[]struct {
		ID    uuid.UUID
		Since int64 `json:"strokes_since_service"`
	}](t, m.get(base+"/items")) {
		if i.ID == s.Ram && i.Since != 0 {
			t.Errorf("the ram has %d strokes since the service", i.Since)
		}
	}

	m.put(base+"/items/"+ram+"/service-plan", `{"none":true,"every_days":2}`).says(t, 422, "none", "a plan or none")
	m.put(base+"/items/"+ram+"/service-plan", `{"none":true}`).want(t, 204, "no plan")
	if all = into[plans](t, m.get(base+"/service-plans")); len(all.Items) != 1 || !all.Items[0].None || all.Items[0].EveryStrokes != 0 {
		t.Errorf("no plan: %+v", all.Items)
	}
	m.del(base+"/items/"+ram+"/service-plan").want(t, 204, "by its class again")
	m.del(base+"/service-plans/light%20gate").want(t, 204, "the class's plan ended")
	m.del(base+"/service-plans/light%20gate").want(t, 204, "ended twice")
	if all = into[plans](t, m.get(base+"/service-plans")); len(all.Items)+len(all.Classes) != 0 {
		t.Errorf("after the end: %+v", all)
	}

	digest := into[struct {
		Day, Page string
		Sections  []struct {
			Head  string
			Lines []string
		}
	}](t, s.operator.get(base+"/digest").want(t, 200, "today"))
	text := ""
	for _, x := range digest.Sections {
		text += x.Head + ": " + strings.Join(x.Lines, "; ") + "\n"
	}
	if !strings.Contains(text, "Fired: ") || !strings.Contains(text, ": service") {
		t.Errorf("the digest of %s says %s", digest.Day, text)
	}
	s.operator.get(digest.Page).want(t, 200, "the same as a screen")
	for query, where := range map[string]string{"day=2999-01-01": "day", "day=soon": "day", "zone=Nowhere/Town": "zone"} {
		s.operator.get(base+"/digest?"+query).says(t, 422, where, "")
	}
	if d := into[struct{ From, To time.Time }](t, s.operator.get(base+"/digest?day=2026-03-29&zone=Europe/Berlin")); d.To.Sub(d.From) != 23*time.Hour { // clocks go forward that night (IANA tz database)
		t.Errorf("the day runs from %s to %s", d.From, d.To)
	}
	m.get("/api/v1/alarms?seen=maybe").says(t, 422, "seen", "")
}

// TestDocumentsAPI sends a certificate's file as a program does, and gets it
// back byte for byte.
func TestDocumentsAPI(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Elder", 1), w.open("Thorn", 1)
	base := "/api/v1/labs/" + s.id.String()
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "E-1", CalibrationRequired: true})
	cal := s.manager.make(base+"/calibrations", map[string]any{"item": cell, "certificate": "K-1", "effective_at": time.Now().AddDate(0, -1, 0), "due_at": time.Now().AddDate(1, 0, 0)})
	files := base + "/items/" + cell.String() + "/documents"
	pdf := "%PDF-1.7\nCertificate K-1\x00\xff"
	send := func(p *person, query, body string) answer {
		return p.do(http.MethodPost, files+"?"+query, "application/pdf", strings.NewReader(body))
	}
	named := url.Values{"name": {"../K-1 für E.pdf"}, "title": {"Certificate K-1"}, "calibration": {cal.String()}}.Encode()
	send(s.manager, "", pdf).says(t, 422, "name", "no name")
	send(s.manager, named, "").says(t, 422, "file", "empty")
	send(s.manager, named, "just text").says(t, 422, "file", "no PDF and no picture")
	send(s.manager, "name=a.pdf&calibration="+uuid.NewString(), pdf).says(t, 404, "calibration", "no such certificate")
	send(s.manager, "name=a.pdf&title="+strings.Repeat("x", lab.MaxText+1), pdf).says(t, 422, "title", "")
	if a := send(s.manager, named, "%PDF-1.7"+strings.Repeat("x", evidence.MaxDocument)); a.status != 413 && a.status != 422 {
		t.Errorf("a file above the bound answers %d: %.200s", a.status, a.body)
	}
	send(s.operator, named, pdf).want(t, 403, "an operator's file")
	send(other.manager, named, pdf).want(t, 404, "of another lab")
	if all := into[[]struct{ ID string }](t, s.operator.get(files)); len(all) != 0 {
		t.Fatalf("what was refused is there: %v", all)
	}
	id := into[idAnswer](t, send(s.manager, named, pdf).want(t, 201, "the file")).ID
	if again := into[idAnswer](t, send(s.manager, named, pdf).want(t, 200, "the file again")).ID; again != id {
		t.Errorf("sent again it is %s, not %s", again, id)
	}
	type document struct {
		ID                       uuid.UUID
		Calibration              *uuid.UUID
		Title, Name, Media, File string
		SHA256                   string
		Size                     int64 `json:"size_bytes"`
		Here                     bool  `json:"file_here"`
	}
	all := into[[]document](t, s.operator.get(files).want(t, 200, "the list"))
	sum := sha256.Sum256([]byte(pdf))
	if len(all) != 1 || all[0].ID != id || *all[0].Calibration != cal || all[0].Name != "K-1 für E.pdf" || all[0].Media != "application/pdf" || all[0].Size != int64(len(pdf)) || !all[0].Here || all[0].SHA256 != hex.EncodeToString(sum[:]) {
		t.Fatalf("the list: %+v", all)
	}
	a := s.operator.get(all[0].File).want(t, 200, "the bytes")
	if a.body != pdf || !strings.HasPrefix(a.header.Get("Content-Disposition"), "attachment") {
		t.Errorf("%d bytes, %q", len(a.body), a.header.Get("Content-Disposition"))
	}
	if body := s.operator.get("/equipment/certificates/" + cell.String()).body; !strings.Contains(body, "Certificate K-1") {
		t.Error("the screen does not show the file")
	}
	other.manager.get(all[0].File).want(t, 404, "the file from another lab")
	one := "/api/v1/documents/" + id.String()
	other.manager.del(one).want(t, 404, "taken off from another lab")
	s.operator.del(one).want(t, 403, "an operator taking it off")
	s.manager.del(one).want(t, 204, "taken off")
	s.manager.get(all[0].File).want(t, 404, "a file that was taken off")
	s.manager.del(one).want(t, 404, "taken off twice")
	send(s.manager, named, pdf).want(t, 201, "added again")
	s.operator.get(all[0].File).want(t, 200, "the bytes again")
}

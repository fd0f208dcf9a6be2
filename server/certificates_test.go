package server_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
)

// upload sends a file about an item as the form does.
func (p *person) upload(item, about uuid.UUID, title, name string, content []byte) answer {
	p.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	fields := map[string]string{"item": item.String(), "title": title}
	if about != uuid.Nil {
		fields["about"] = about.String()
	}
	for k, v := range fields {
		if err := m.WriteField(k, v); err != nil {
			p.t.Fatal(err)
		}
	}
	part, err := m.CreateFormFile("file", name)
	if err == nil {
		_, err = part.Write(content)
	}
	if err == nil {
		err = m.Close()
	}
	if err != nil {
		p.t.Fatal(err)
	}
	return p.do(http.MethodPost, "/equipment/documents", m.FormDataContentType(), &b)
}

// TestCertificates keeps the certificates of a sensor with their files, and reads
// the drift off them. By hand: 1.000 → 1.010 in 400 days and 1.000 → 1.008 in 400
// days, limit 2 %: 50 % and 40 % of it used up, so 1.25 × 400 = 500 days; the
// drift is (1.01 × 1.008)^(365.25/800) - 1 = 0.8 % a year.
func TestCertificates(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Larch", 2)
	other := w.open("Alder", 1)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-5", Name: "accelerometer Z", CalibrationRequired: true})
	path := "/equipment/certificates/" + cell.String()
	if text := words(s.operator.get(path).want(t, 200, "no certificate").body); !strings.Contains(text, "No certificate is on record yet.") {
		t.Errorf("without certificates: %.400s", text)
	}
	var ids []uuid.UUID
	for i, found := range []float64{0, 1.010, 1.008} {
		k := map[string]any{"item": cell, "certificate": "K-" + string(rune('1'+i)), "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 1.0,
			"effective_at": now.AddDate(0, 0, 400*i-801), "due_at": now.AddDate(0, 0, 400*i-400), "laboratory": "Calibration house", "reference_standard": "REF-8"}
		if found != 0 {
			k["as_found_sensitivity"], k["as_found_limit_percent"] = found, 2.0
		}
		ids = append(ids, s.manager.make(base+"/calibrations", k))
	}
	text := words(s.operator.get(path).want(t, 200, "the certificates").body)
	for _, want := range []string{"K-1", "K-2", "K-3", "+1.0 %, ±2.0 %", "+0.8 %, ±2.0 %", "within its limit", "Longer: 500 days after the last calibration (the last interval was 400 days).", "found 40 % of the limit used up", "drifted by +0.8 % a year", "How the sensitivity went", "Calibration house REF-8", "late"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q: %.2500s", want, text)
		}
	}
	csv := s.operator.get(path+"/list.csv").want(t, 200, "the table").body
	if !strings.Contains(csv, "\nsensor,S-5,K-3,") || !strings.Contains(csv, ",mV/g,1,1.008,false,1,0.8") {
		t.Errorf("the table:\n%s", csv)
	}

	// Files: what is no PDF or picture, empty or too large is refused with the reason.
	pdf := append([]byte("%PDF-1.7\n"), bytes.Repeat([]byte("invented "), 100)...)
	for name, content := range map[string][]byte{"no PDF and no picture": []byte("<html><script>alert(1)</script>"), "empty": {}, "larger than 20 MB": append([]byte("%PDF-1.7\n"), make([]byte, 20<<20)...)} {
		if a := s.manager.upload(cell, ids[2], "", "k3.pdf", content); a.status != 422 || !strings.Contains(words(a.body), name) {
			t.Errorf("a file that is %s: %d %.300s", name, a.status, words(a.body))
		}
	}
	s.operator.upload(cell, ids[2], "", "k3.pdf", pdf).want(t, 403, "an operator's file")
	other.manager.upload(cell, ids[2], "", "k3.pdf", pdf).want(t, 404, "another lab's file")
	s.manager.upload(cell, uuid.New(), "", "k3.pdf", pdf).want(t, 422, "a file of no certificate")
	for range 2 { // twice is once
		s.manager.upload(cell, ids[2], "", "../Zertifikat K-3.pdf", pdf).want(t, 303, "a certificate's file")
	}
	s.manager.upload(cell, uuid.Nil, "Manual", "m.pdf", append(pdf, '!')).want(t, 303, "the item's file")
	body := s.operator.get(path).want(t, 200, "with files").body
	links := regexp.MustCompile(`href="(/documents/[0-9a-f-]{36})" download>([^<]*)<`).FindAllStringSubmatch(body, -1)
	if len(links) != 2 || links[0][2] != "Zertifikat K-3.pdf" || links[1][2] != "Manual" {
		t.Fatalf("files %q", links)
	}
	a := s.operator.get(links[0][1]).want(t, 200, "the file")
	if a.body != string(pdf) || a.header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(a.header.Get("Content-Disposition"), "attachment") || a.header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the file comes back as %v", a.header)
	}
	other.manager.get(links[0][1]).want(t, 404, "another lab reading it")
	w.stranger().get(links[0][1]).want(t, 303, "a stranger reading it")
	s.operator.form(links[0][1]+"/off", nil).want(t, 403, "an operator taking it off")
	s.manager.form(links[0][1]+"/off", nil).want(t, 303, "taking it off")
	s.operator.get(links[0][1]).want(t, 404, "after it was taken off")
	s.manager.upload(cell, ids[2], "", "k3.pdf", pdf).want(t, 303, "adding it again")
	s.operator.get(links[0][1]).want(t, 200, "after it came back")

	// A certificate entered here goes back here.
	to := s.manager.form(path, url.Values{"item": {cell.String()}, "effective_at": {now.Format(time.DateOnly)}, "due_at": {now.AddDate(1, 0, 0).Format(time.DateOnly)}, "certificate": {"K-4"}, "sensitivity": {"1.0"}, "sensitivity_unit": {"mV/g"}, "as_found_sensitivity": {"1.03"}, "as_found_limit_percent": {"2"}}).
		want(t, 303, "a certificate").header.Get("Location")
	if text := words(s.manager.get(to).body); !strings.Contains(text, "The certificate was recorded.") || !strings.Contains(text, "outside its limit +3.0 %, ±2.0 % review") || !strings.Contains(text, "Shorter: 30 days") || !strings.Contains(text, "Advice stays between 30 and 1825 days.") {
		t.Errorf("after the certificate: %.900s", text)
	}
	// An adjusted sensor whose value as found is not reported is compared with nothing.
	both := url.Values{"item": {cell.String()}, "effective_at": {now.Format(time.DateOnly)}, "due_at": {now.AddDate(1, 0, 0).Format(time.DateOnly)}, "certificate": {"K-6"}, "sensitivity": {"1.2"}, "sensitivity_unit": {"mV/g"}, "as_found_not_reported": {"yes"}, "as_found_limit_percent": {"2"}, "confirmed": {"yes"}}
	s.manager.form(path, with(both, "as_found_sensitivity", "1.1")).want(t, 422, "a value that is not reported, and given")
	s.manager.form(path, both).want(t, 303, "a certificate without the value as found")
	if text := words(s.manager.get(path).body); !strings.Contains(text, "K-6") || strings.Contains(text, "+20.0 %") {
		t.Errorf("a sensor whose value as found is not reported is compared: %.1500s", text)
	}
	s.manager.form(path, url.Values{"certificate": {"K-5"}}).want(t, 422, "a certificate without dates")
}

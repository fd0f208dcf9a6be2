package agent_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// A rig whose pressures are in psi: the forms that assign and correct a shot show
// and take psi, the record stays in kPa, and a form that is saved as it came
// changes no digit of it.
func TestAssignAndCorrectInPsi(t *testing.T) {
	r := start(t)
	r.send("/next/unit", url.Values{"pressure": {"psi"}}, "/next")
	id := r.post(part{"file", "a.csv", csv(93)}, part{"map", "m.toml", mapText}, part{field: "meta", text: `{"tank_pressure_kpa_gauge":141.3}`}).json(t)["id"].(string)
	kpa := func() float64 {
		return r.get("/api/v1/shots/" + id).json(t)["meta"].(map[string]any)["tank_pressure_kpa_gauge"].(float64)
	}
	field := func(body, action string) (input, label string) {
		_, form, _ := strings.Cut(body, `action="`+action+`"`)
		form, _, _ = strings.Cut(form, "</form>")
		input = regexp.MustCompile(`<input[^>]*name="tank_pressure_kpa_gauge"[^>]*>`).FindString(form)
		label = regexp.MustCompile(`>Tank pressure, gauge, [^\n]{0,60}`).FindString(form)
		return input, label
	}
	v := fields(t, r.page("/assign"), "/shots/"+id+"/assign")
	// 1 psi is 6.894757 kPa (NIST SP 811), so 141.3 kPa are 20.494 psi.
	if input, label := field(r.page("/assign"), "/shots/"+id+"/assign"); !strings.Contains(input, `value="20.494"`) || !strings.Contains(label, "psi") {
		t.Errorf("To assign shows %s under %q", input, label)
	}
	v.Set("kind", "shot")
	v.Set("specimen", "H-21")
	v.Set("location", "front")
	v.Set("target_speed_m_s", "5")
	v.Set("tank_pressure_kpa_gauge", "3000")
	// Another tab changes the unit meanwhile: what was typed stays psi.
	r.send("/next/unit", url.Values{"pressure": {"bar"}}, "/next")
	a := r.form("/shots/"+id+"/assign", v)
	if input, label := field(a.body, "/shots/"+id+"/assign"); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "3000 is outside 0 to 2900.8 psi") || !strings.Contains(input, `value="3000"`) || !strings.Contains(label, "psi") {
		t.Errorf("3000 psi = %d: %s under %q", a.status, input, label)
	}
	v.Set("tank_pressure_kpa_gauge", "20.494")
	r.send("/shots/"+id+"/assign", v, "/shots/"+id)
	if p := kpa(); p != 141.3 {
		t.Errorf("a pressure that nobody changed became %g kPa", p)
	}

	r.send("/next/unit", url.Values{"pressure": {"psi"}}, "/next")
	body := r.page("/shots/"+id, "141.3")
	if input, label := field(body, "/shots/"+id+"/correct"); !strings.Contains(input, `value="20.494"`) || !strings.Contains(label, "psi") {
		t.Errorf("the correction shows %s under %q", input, label)
	}
	c := fields(t, body, "/shots/"+id+"/correct")
	c.Set("kind", "shot")
	c.Set("condition", "hot")
	c.Set("tank_pressure_kpa_gauge", "21,5")
	r.send("/shots/"+id+"/correct", c, "/shots/"+id)
	if p := kpa(); fmt.Sprintf("%.3f", p) != "148.237" {
		t.Errorf("21.5 psi came back as %g kPa", p)
	}
	body = r.page("/shots/"+id, "21.5", "148.2")
	if _, history, _ := strings.Cut(body, `id="h-history"`); !strings.Contains(history, "20.5\u00a0psi") || !strings.Contains(history, "21.5\u00a0psi") {
		t.Error("the history does not give both pressures in psi")
	}
	c = fields(t, body, "/shots/"+id+"/correct")
	c.Set("kind", "shot")
	c.Set("unit", "inches")
	c.Set("tank_pressure_kpa_gauge", "30")
	if a := r.form("/shots/"+id+"/correct", c); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "reload the page") {
		t.Errorf("a unit that is none = %d", a.status)
	}
}

package server_test

import (
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

var hiddenInput = regexp.MustCompile(`<input type="hidden" name="([a-z]+)" value="([^"]*)">`)

// formAt gives the hidden fields of a screen's form by its address.
func formAt(t *testing.T, body, action string) url.Values {
	t.Helper()
	_, rest, ok := strings.Cut(body, `action="`+action+`"`)
	if !ok {
		t.Fatalf("no form for %s", action)
	}
	rest, _, _ = strings.Cut(rest, "</form>")
	v := url.Values{}
	for _, m := range hiddenInput.FindAllStringSubmatch(rest, -1) {
		v.Set(m[1], html.UnescapeString(m[2]))
	}
	return v
}

// TestCorrectAndSettle corrects a shot on the server while its agent, out of
// touch, corrects it too; both values are shown, a person settles, and both
// ends agree.
func TestCorrectAndSettle(t *testing.T) {
	t.Parallel()
	w := start(t)
	for _, early := range []bool{false, true} { // early: from before the agent was enrolled, under the id it had then
		s := w.open(map[bool]string{false: "Oak", true: "Poplar"}[early], 3)
		id := s.Shots[len(s.Shots)-1]
		if early {
			id = s.Shots[0]
		}
		path := "/shots/" + id.String()
		send := func(action string, more url.Values) answer {
			v := formAt(t, s.manager.get(path).body, path+action)
			for k, x := range more {
				v[k] = x
			}
			return s.manager.form(path+action, v)
		}
		values := url.Values{"kind": {"shot"}, "specimen": {"S-7"}, "location": {"crown"}, "condition": {"cold"}, "target_speed_m_s": {"6,5"}, "tank_pressure_kpa_gauge": {""}}
		if a := send("/correct", with(values, "target_speed_m_s", "fast")).want(t, 422, "no number"); !strings.Contains(a.body, "is not a number") || !strings.Contains(a.body, `value="S-7"`) {
			t.Error("what is wrong, or what was typed, is not shown")
		}
		// A form whose pressure was typed in psi: 1 psi is 6.894757 kPa (NIST SP 811).
		send("/correct", url.Values{"kind": {"shot"}, "unit": {"psi"}, "tank_pressure_kpa_gauge": {"20"}}).want(t, 303, "a pressure in psi")
		if b := s.manager.get(path).body; !strings.Contains(b, "137.9") {
			t.Error("20 psi did not come back as 137.9 kPa")
		}
		old := s.manager.get(path).want(t, 200, path).body
		send("/correct", values).want(t, 303, "a correction")
		// The screen opened before the correction does not overwrite it.
		stale := formAt(t, old, path+"/correct")
		for k, x := range values {
			stale[k] = x
		}
		stale.Set("specimen", "S-8")
		if a := s.manager.form(path+"/correct", stale).want(t, 409, "an old screen"); !strings.Contains(a.body, "Somebody else changed this shot") || !strings.Contains(a.body, `value="S-7"`) {
			t.Error("the refusal does not say why, or what holds now")
		}
		body := s.manager.get(path).body
		for _, text := range []string{"S-7", "crown", "cold", "6.50", "History", "as taken in", strings.ToLower(s.marker) + ".manager", "not recorded"} {
			if !strings.Contains(body, text) {
				t.Errorf("the shot's screen does not show %q", text)
			}
		}
		if strings.Contains(s.operator.get(path).body, "Correct what is recorded") {
			t.Error("the form is offered to an operator, who may not use it")
		}

		// Out of touch, the rig says something else of the specimen.
		read := view.New().Reader(s.agent.Store)
		if _, err := amend.Shot(t.Context(), s.agent.Ledger, read, scope.All(), id, amend.Correct(map[string]any{"specimen": "S-9"}, "", "node")); err != nil {
			t.Fatal(err)
		}
		s.sync()
		body = s.manager.get(path).body
		if !strings.Contains(body, "To settle") || !strings.Contains(body, "Keep S-7") || !strings.Contains(body, "Keep S-9") {
			t.Fatal("two values that were recorded side by side are not shown to settle")
		}
		_, rest, _ := strings.Cut(body, "<b>S-7</b>")
		keep := formAt(t, rest, path+"/settle")
		s.manager.form(path+"/settle", with(keep, "keep", "x/1/1")).want(t, 409, "a value that nobody recorded")
		s.manager.form(path+"/settle", keep).want(t, 303, "settle")
		if strings.Contains(s.manager.get(path).body, "To settle") {
			t.Error("it is still to settle")
		}

		// Void, with a reason; the rig hears of all of it.
		send("/void", url.Values{"reason": {""}}).want(t, 422, "no reason")
		send("/void", url.Values{"reason": {"strap came loose"}}).want(t, 303, "void")
		if body = s.manager.get(path).body; !strings.Contains(body, "void: strap came loose") || !strings.Contains(body, "Count it again") {
			t.Error("the screen does not say that the shot is void")
		}
		s.sync()
		row, err := read.Shot(t.Context(), scope.All(), id)
		if err != nil || row.Shot.Specimen != "S-7" || len(row.Conflicts()) != 0 || !row.Void() || *row.Shot.TargetSpeedMS != 6.5 || row.Shot.TankPressureKPaGauge != nil {
			t.Errorf("on the rig: %+v, conflicts %v, void %t, %v", row.Shot.Meta, row.Conflicts(), row.Void(), err)
		}
		send("/void", url.Values{"reason": {"the film shows the strap closed"}}).want(t, 303, "count again")
		if body = s.manager.get(path).body; strings.Contains(body, "void: strap") || !strings.Contains(body, "Counts again") || !strings.Contains(body, "Made void") {
			t.Error("the shot does not count again, or its history does not say so")
		}
		s.sync()
		if row, err = read.Shot(t.Context(), scope.All(), id); err != nil || row.Void() {
			t.Errorf("on the rig the shot is still void: %v", err)
		}
	}
}

// A void shot still wears the ram, and no longer counts for the campaign.
func TestVoidShotWearsTheRam(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Quince", 2)
	base := "/api/v1/labs/" + s.id.String()
	s.furnish()
	count := func() (done, void int, strokes int64) {
		p := into[struct{ Total struct{ Done, Void int } }](t, s.manager.get(base+"/campaigns/"+s.Campaign.String()))
		for _, i := range into[[]struct {
			Class string
			Total int64 `json:"total_strokes"`
		}](t, s.manager.get(base+"/items")) {
			if i.Class == lab.ClassRam {
				strokes = max(strokes, i.Total)
			}
		}
		return p.Total.Done, p.Total.Void, strokes
	}
	done, _, strokes := count()
	if done != 1 || strokes == 0 {
		t.Fatalf("%d done, %d strokes before", done, strokes)
	}
	id := uuid.MustParse(s.newest()).String()
	s.manager.form("/shots/"+id+"/void", url.Values{"void": {"yes"}, "reason": {"strap"}}).want(t, 303, "void")
	if d, v, n := count(); d != 0 || v != 1 || n != strokes {
		t.Errorf("%d done, %d void, %d strokes, want 0, 1, %d", d, v, n, strokes)
	}
}

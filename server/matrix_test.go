package server_test

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server"
	"thudbook/sync/lab"
)

// rule says what a route answers to each kind of person. The order is:
// stranger, manager of another lab, operator, manager, administrator.
type rule struct {
	route string
	send  func(m *matrix) (path, media, body string)
	want  [5]int
}

// matrix is what the routes are tried on: lab Birch, seen from its own people
// and from those of lab Cedar.
type matrix struct {
	*testing.T
	w            *world
	birch, cedar *site
	people       [5]*person
	item, ram    string
	rig          string
	campaign     string
	account      string
	n            int
}

func at(path string) func(*matrix) (string, string, string) {
	return func(*matrix) (string, string, string) { return path, "", "" }
}

func inLab(path string) func(*matrix) (string, string, string) {
	return func(m *matrix) (string, string, string) {
		return "/api/v1/labs/" + m.birch.id.String() + path, "", ""
	}
}

func sends(path string, body func(*matrix) any) func(*matrix) (string, string, string) {
	return func(m *matrix) (string, string, string) {
		m.n++
		b, err := json.Marshal(body(m))
		if err != nil {
			m.Fatal(err)
		}
		p, _, _ := inLab(path)(m)
		if strings.HasPrefix(path, "/api/") {
			p = path
		}
		return p, "application/json", string(b)
	}
}

func posts(path string, body func(*matrix) url.Values) func(*matrix) (string, string, string) {
	return func(m *matrix) (string, string, string) {
		m.n++
		return path, "application/x-www-form-urlencoded", body(m).Encode()
	}
}

func (m *matrix) serial() string { return "M-" + time.Now().Format("150405.000000") }

func rules() []rule {
	open := [5]int{200, 200, 200, 200, 200}
	page := [5]int{303, 200, 200, 200, 200}    // everybody's screen, filled with what they may see
	own := [5]int{303, 404, 200, 200, 200}     // a screen about something of Birch
	read := [5]int{401, 200, 200, 200, 200}    // everybody's question
	ofLab := [5]int{401, 404, 200, 200, 200}   // a question about Birch
	keep := [5]int{401, 404, 403, 201, 201}    // a fact of Birch
	setting := [5]int{401, 404, 403, 204, 204} // what Birch is set to
	noOrder := [5]int{401, 404, 404, 404, 404} // a question about what is not there
	aboutNoOrder := [5]int{401, 404, 403, 404, 404}
	admin := [5]int{401, 403, 403, 403, 200}   // the API for administrators
	screens := [5]int{303, 403, 403, 403, 200} // their screens
	done := [5]int{303, 403, 403, 403, 303}    // their forms
	change := [5]int{303, 404, 403, 303, 303}  // a form that names Birch
	ofItem := [5]int{303, 422, 403, 303, 303}  // a form that names an item of Birch: to others it is not there
	inUse := [5]int{303, 404, 403, 303, 303}   // a form on the screen of an item of Birch
	noToken := [5]int{401, 401, 401, 401, 401} // agents prove themselves; cookies are not looked at
	nowhere := [5]int{303, 404, 404, 404, 404} // a screen about something that is not there
	missing := [5]int{404, 404, 404, 404, 404}
	inList := [5]int{303, 404, 403, 422, 422} // a form of Birch that names nobody
	ofNobody := func(path string) func(*matrix) (string, string, string) {
		return posts(path, func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "person": {uuid.NewString()}, "pin": {"4711"}, "reason": {"test"}}
		})
	}
	shot := func(path string) func(*matrix) (string, string, string) {
		return func(m *matrix) (string, string, string) {
			return strings.Replace(path, ":id", m.birch.newest(), 1), "", ""
		}
	}
	shotForm := func(path string, v url.Values) func(*matrix) (string, string, string) {
		return func(m *matrix) (string, string, string) {
			return "/shots/" + m.birch.newest() + path, "application/x-www-form-urlencoded", v.Encode()
		}
	}
	now := lab.At(time.Now())
	day := time.Now().Format(time.DateOnly)
	return []rule{
		{"GET /healthz", at("/healthz"), open},
		{"GET /readyz", at("/readyz"), open},
		{"GET /metrics", at("/metrics"), open},
		{"GET /api/openapi.json", at("/api/openapi.json"), open},
		{"GET /assets/*", at("/assets/nothing.js"), missing},
		{"HEAD /assets/*", at("/assets/nothing.js"), missing},
		{"GET /sync/v1/*", inLabSync, noToken},
		{"POST /sync/v1/*", at("/sync/v1/pull"), noToken},
		{"PUT /sync/v1/*", inLabSync, noToken},
		{"PATCH /sync/v1/*", inLabUpload, noToken},

		{"GET /signin", at("/signin"), [5]int{200, 303, 303, 303, 303}},
		{"POST /signin", posts("/signin", func(*matrix) url.Values { return url.Values{"name": {"nobody"}, "password": {"wrong"}} }), [5]int{401, 401, 401, 401, 401}},
		{"GET /", at("/"), page},
		{"GET /shots", at("/shots"), page},
		{"GET /shots/:id", shot("/shots/:id"), own},
		{"GET /shots/:id/traces.bin", shot("/shots/:id/traces.bin"), own},
		{"GET /shots/:id/traces.csv", shot("/shots/:id/traces.csv"), own},
		{"GET /shots/:id/shock.csv", shot("/shots/:id/shock.csv"), own},
		{"POST /shots/:id/correct", shotForm("/correct", url.Values{"kind": {"shot"}, "specimen": {"Birch specimen"}}), change},
		{"POST /shots/:id/void", shotForm("/void", url.Values{"void": {"yes"}, "reason": {"strap"}}), change},
		{"POST /shots/:id/stated", shotForm("/stated", url.Values{}), change},
		{"POST /shots/:id/settle", shotForm("/settle", url.Values{"field": {"specimen"}, "keep": {"x"}}), [5]int{303, 404, 403, 409, 409}},
		{"GET /equipment", at("/equipment"), page},
		{"GET /health", at("/health"), page},
		{"GET /usage", at("/usage"), page},
		{"GET /usage.csv", at("/usage.csv"), page},
		{"GET /usage.pdf", at("/usage.pdf"), page},
		{"GET /equipment/list", at("/equipment/list"), page},
		{"GET /equipment/plans", at("/equipment/plans"), page},
		{"GET /equipment/labels", at("/equipment/labels"), page},
		{"GET /equipment/orders", at("/equipment/orders"), page},
		{"GET /equipment/orders/new", at("/equipment/orders/new"), [5]int{303, 200, 403, 200, 200}},
		{"POST /equipment/orders", posts("/equipment/orders", func(m *matrix) url.Values {
			return url.Values{"item": {m.ram}, "cause": {"by_hand"}, "what": {"service"}, "confirmed": {"yes"}}
		}), ofItem},
		{"GET /equipment/orders/:id", at("/equipment/orders/" + uuid.NewString()), nowhere}, // TestWorkOrders has some
		{"GET /equipment/orders/:id/sheet", at("/equipment/orders/" + uuid.NewString() + "/sheet"), nowhere},
		{"POST /equipment/orders/:id/change", posts("/equipment/orders/"+uuid.NewString()+"/change", func(*matrix) url.Values { return url.Values{"what": {"test"}} }), nowhere},
		{"POST /equipment/orders/:id/close", posts("/equipment/orders/"+uuid.NewString()+"/close", func(*matrix) url.Values { return url.Values{"effective_at": {day}, "note": {"test"}} }), nowhere},
		{"POST /equipment/orders/:id/cancel", posts("/equipment/orders/"+uuid.NewString()+"/cancel", func(*matrix) url.Values { return url.Values{"reason": {"test"}} }), nowhere},
		{"POST /equipment/orders/:id/reopen", posts("/equipment/orders/"+uuid.NewString()+"/reopen", func(*matrix) url.Values { return url.Values{"reason": {"test"}} }), nowhere},
		{"POST /equipment/orders/:id/undo", posts("/equipment/orders/"+uuid.NewString()+"/undo", func(*matrix) url.Values { return url.Values{"reason": {"test"}} }), nowhere},
		{"POST /equipment/orders/:id/once", posts("/equipment/orders/"+uuid.NewString()+"/once", func(*matrix) url.Values { return url.Values{"reason": {"test"}} }), nowhere},
		{"GET /bookings", at("/bookings"), page},
		{"GET /bookings.csv", at("/bookings.csv?from=2026-01-01&to=2026-12-31"), page},
		{"POST /bookings", posts("/bookings", func(m *matrix) url.Values {
			from := time.Now().Add(time.Duration(m.n) * time.Hour)
			return url.Values{"rig": {m.rig}, "from": {from.Format("2006-01-02T15:04:05")}, "to": {from.Add(time.Minute).Format("2006-01-02T15:04:05")}, "department": {"test"}, "anyway": {"test"}}
		}), [5]int{303, 422, 303, 303, 303}}, // with any role in Birch
		{"GET /bookings/:id", at("/bookings/" + uuid.NewString()), nowhere}, // TestBookings has some
		{"POST /bookings/:id/move", posts("/bookings/"+uuid.NewString()+"/move", func(*matrix) url.Values { return url.Values{"from": {day}, "to": {day}} }), nowhere},
		{"POST /bookings/:id/cancel", posts("/bookings/"+uuid.NewString()+"/cancel", func(*matrix) url.Values { return url.Values{"reason": {"test"}} }), nowhere},
		{"POST /equipment/plans/class", posts("/equipment/plans/class", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "class": {"neck"}, "every_days": {"90"}}
		}), change},
		{"GET /equipment/list.csv", func(m *matrix) (string, string, string) {
			return "/equipment/list.csv?lab=" + m.birch.id.String(), "", ""
		}, own},
		{"GET /equipment/use/:id", func(m *matrix) (string, string, string) { return "/equipment/use/" + m.ram, "", "" }, own},
		{"GET /equipment/use/:id/:kind/:entry", func(m *matrix) (string, string, string) {
			return "/equipment/use/" + m.ram + "/service/" + uuid.NewString(), "", ""
		}, nowhere}, // TestWithdrawnEntries has some
		{"POST /equipment/use/:id/:kind/:entry", func(m *matrix) (string, string, string) {
			return posts("/equipment/use/"+m.ram+"/service/"+uuid.NewString(), func(*matrix) url.Values { return url.Values{"reason": {"test"}} })(m)
		}, nowhere},
		{"GET /calendar/:file", at("/calendar/NONE.ics"), missing}, // programs show a token
		{"GET /calendar/:token/bookings.ics", at("/calendar/NONE/bookings.ics"), missing},
		{"GET /metrics/items", at("/metrics/items"), noToken},
		{"POST /health/feed", posts("/health/feed", func(*matrix) url.Values { return nil }), page},
		{"POST /equipment/states", posts("/equipment/states", func(m *matrix) url.Values {
			return url.Values{"item": {m.ram}, "state": {"in service"}, "effective_at": {day}, "reason": {"test"}}
		}), inUse},
		{"POST /equipment/corrections", posts("/equipment/corrections", func(m *matrix) url.Values {
			return url.Values{"item": {m.ram}, "strokes": {"1"}, "effective_at": {day}, "reason": {"test " + m.serial()}}
		}), inUse},
		{"POST /equipment/rated", posts("/equipment/rated", func(m *matrix) url.Values {
			return url.Values{"item": {m.ram}, "most": {"800"}, "marked_on": {"plate " + m.serial()}, "effective_at": {day}}
		}), [5]int{303, 404, 403, 422, 422}}, // the ram is mounted nowhere; TestRatedPressureOnTheServer has one
		{"POST /equipment/plans", posts("/equipment/plans", func(m *matrix) url.Values {
			return url.Values{"item": {m.ram}, "service_every_days": {"400"}, "service_every_strokes": {fmt.Sprint(1000 + m.n)}}
		}), inUse},
		{"POST /equipment/list/check", posts("/equipment/list/check", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "list": {"class,serial\nhose,H-1\n"}}
		}), [5]int{303, 404, 403, 200, 200}},
		{"POST /equipment/list", posts("/equipment/list", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "list": {"class,serial\nhose,H-1\n"}, "digest": {"another"}}
		}), [5]int{303, 404, 403, 409, 409}},
		{"GET /reviews", at("/reviews"), page},
		{"GET /reviews/new", at("/reviews/new?found=" + uuid.NewString()), nowhere}, // TestOutOfTolerance has some
		{"POST /reviews", posts("/reviews", func(*matrix) url.Values { return url.Values{"found": {uuid.NewString()}, "why": {"test"}} }), nowhere},
		{"GET /reviews/:id", at("/reviews/" + uuid.NewString()), nowhere},
		{"GET /reviews/:id/shots.csv", at("/reviews/" + uuid.NewString() + "/shots.csv"), nowhere},
		{"POST /reviews/:id/again", posts("/reviews/"+uuid.NewString()+"/again", func(*matrix) url.Values { return nil }), nowhere},
		{"POST /reviews/:id/stop", posts("/reviews/"+uuid.NewString()+"/stop", func(*matrix) url.Values { return nil }), nowhere},
		{"POST /reviews/:id/withdraw", posts("/reviews/"+uuid.NewString()+"/withdraw", func(*matrix) url.Values { return url.Values{"reason": {"test"}} }), nowhere},
		{"GET /equipment/certificates/:id", func(m *matrix) (string, string, string) { return "/equipment/certificates/" + m.ram, "", "" }, own},
		{"GET /equipment/certificates/:id/list.csv", func(m *matrix) (string, string, string) {
			return "/equipment/certificates/" + m.ram + "/list.csv", "", ""
		}, own},
		{"POST /equipment/certificates/:id", func(m *matrix) (string, string, string) {
			m.n++
			v := url.Values{"item": {m.ram}, "effective_at": {day}, "due_at": {time.Now().AddDate(1, 0, 0).Format(time.DateOnly)}, "certificate": {m.serial()}}
			return "/equipment/certificates/" + m.ram, "application/x-www-form-urlencoded", v.Encode()
		}, change},
		{"POST /equipment/documents", posts("/equipment/documents", func(m *matrix) url.Values { return url.Values{"item": {m.ram}} }), [5]int{303, 404, 403, 422, 422}}, // TestCertificates has a file
		{"GET /documents/:id", at("/documents/" + uuid.NewString()), nowhere},
		{"POST /documents/:id/off", posts("/documents/"+uuid.NewString()+"/off", func(*matrix) url.Values { return nil }), nowhere},
		{"GET /late", at("/late"), page},
		{"GET /late/:kind/:id", at("/late/service/" + uuid.NewString()), nowhere}, // TestEnteredLate has some
		{"GET /late/:kind/:id/shots.csv", at("/late/certificate/" + uuid.NewString() + "/shots.csv"), nowhere},
		{"POST /late/:kind/:id/again", posts("/late/mounting/"+uuid.NewString()+"/again", func(*matrix) url.Values { return nil }), nowhere},
		{"POST /late/:kind/:id/stop", posts("/late/nothing/"+uuid.NewString()+"/stop", func(*matrix) url.Values { return nil }), nowhere},
		{"GET /digest", at("/digest"), page},
		{"GET /messages", at("/messages"), page},
		{"POST /messages/addresses", posts("/messages/addresses", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "to": {m.serial() + "@birch.example"}, "due": {"yes"}}
		}), change},
		{"POST /messages/webhooks", posts("/messages/webhooks", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "to": {"https://127.0.0.1:9/" + m.serial()}, "due": {"yes"}}
		}), change},
		{"POST /messages/off", posts("/messages/off", func(*matrix) url.Values { return url.Values{"id": {uuid.NewString()}} }), nowhere}, // TestTold has some
		{"POST /messages/trial", posts("/messages/trial", func(*matrix) url.Values { return url.Values{"id": {uuid.NewString()}} }), nowhere},
		{"POST /messages/secret", posts("/messages/secret", func(*matrix) url.Values { return url.Values{"id": {uuid.NewString()}} }), nowhere},
		{"POST /messages/again", posts("/messages/again", func(*matrix) url.Values { return url.Values{"id": {uuid.NewString()}} }), nowhere},
		{"GET /inspections", at("/inspections"), page},
		{"GET /inspections.csv", at("/inspections.csv"), page},
		{"GET /specimens/:name", at("/specimens/Birch%20specimen"), own},
		{"GET /log", at("/log"), page},
		{"GET /log.csv", at("/log.csv"), page},
		{"GET /api/v1/inspections", at("/api/v1/inspections"), read},
		{"GET /api/v1/specimens/:name", at("/api/v1/specimens/Birch%20specimen"), ofLab},
		{"GET /checks", at("/checks"), page},
		{"POST /checks/limits", posts("/checks/limits", func(m *matrix) url.Values {
			return url.Values{"rig": {m.rig}, "pad": {"P-1"}, "peak_most": {"110"}, "effective_at": {day}}
		}), ofItem},
		{"GET /campaigns", at("/campaigns"), page},
		{"GET /campaigns/:id", func(m *matrix) (string, string, string) { return "/campaigns/" + m.campaign, "", "" }, own},
		{"POST /campaigns/:id/limits", func(m *matrix) (string, string, string) {
			return posts("/campaigns/"+m.campaign+"/limits", func(m *matrix) url.Values { return url.Values{} })(m)
		}, [5]int{303, 404, 403, 409, 409}}, // TestCampaignLimitsAreChanged has seen them
		{"POST /campaigns/:id/when", func(m *matrix) (string, string, string) {
			return posts("/campaigns/"+m.campaign+"/when", func(m *matrix) url.Values { return url.Values{"rig": {m.rig}, "starts_on": {day}, "ends_on": {day}} })(m)
		}, change},
		{"GET /people", at("/people"), page},
		{"POST /people/add", posts("/people/add", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "name": {fmt.Sprint("Person ", m.n)}, "pin": {"4711"}}
		}), change},
		{"POST /people/pin", ofNobody("/people/pin"), inList},
		{"POST /people/off", ofNobody("/people/off"), inList},
		{"POST /people/on", ofNobody("/people/on"), inList},
		{"POST /people/erase", ofNobody("/people/erase"), inList},
		{"GET /agents", at("/agents"), page},
		{"GET /manual", at("/manual"), page},
		{"GET /manual/:page", at("/manual/flags"), page},
		{"GET /licences", at("/licences"), page},
		{"GET /password", at("/password"), page},
		{"GET /accounts", at("/accounts"), screens},
		{"GET /labs", at("/labs"), screens},
		{"POST /equipment/items", posts("/equipment/items", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "class": {"sensor"}, "serial": {m.serial()}}
		}), change},
		{"POST /equipment/services", posts("/equipment/services", func(m *matrix) url.Values {
			return url.Values{"item": {m.ram}, "effective_at": {day}, "note": {"seals"}}
		}), ofItem},
		{"POST /equipment/calibrations", posts("/equipment/calibrations", func(m *matrix) url.Values {
			return url.Values{"item": {m.item}, "effective_at": {day}, "due_at": {day}, "certificate": {m.serial()}}
		}), ofItem},
		{"POST /equipment/mountings", posts("/equipment/mountings", func(m *matrix) url.Values {
			return url.Values{"rig": {m.rig}, "item": {m.item}, "position": {"ax"}, "effective_at": {day}}
		}), ofItem},
		{"POST /campaigns", posts("/campaigns", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "name": {m.serial()}, "specimens": {"X-1"}, "locations": {"front"}, "target_speeds_m_s": {"5.5"}, "planned": {"3"}}
		}), change},
		{"GET /alarms", at("/alarms"), page},
		{"POST /alarms/:id/seen", posts("/alarms/"+uuid.NewString()+"/seen", func(*matrix) url.Values { return nil }), [5]int{303, 404, 404, 404, 404}},
		{"POST /agents/codes", posts("/agents/codes", func(m *matrix) url.Values {
			return url.Values{"lab": {m.birch.id.String()}, "name": {"rig nine"}}
		}), change},
		{"POST /agents/codes/lost-key", posts("/agents/codes/lost-key", func(m *matrix) url.Values {
			return url.Values{"agent": {m.birch.agent.Node.ID.String()}}
		}), change},
		{"POST /agents/revoke", posts("/agents/revoke", func(m *matrix) url.Values {
			return url.Values{"agent": {m.birch.agent.Node.ID.String()}, "reason": {"test"}}
		}), change},
		{"POST /agents/server-key/announce", posts("/agents/server-key/announce", func(*matrix) url.Values { return url.Values{} }), done},
		{"POST /agents/server-key/use", posts("/agents/server-key/use", func(*matrix) url.Values { return url.Values{} }), [5]int{303, 403, 403, 403, 409}},
		{"POST /accounts", posts("/accounts", func(m *matrix) url.Values {
			return url.Values{"name": {"p" + m.serial()}, "password": {"a long password"}, "role": {"operator"}, "lab": {m.birch.id.String()}}
		}), done},
		{"POST /accounts/roles", posts("/accounts/roles", func(m *matrix) url.Values {
			return url.Values{"account": {m.account}, "role": {"operator"}, "lab": {m.birch.id.String()}}
		}), done},
		{"POST /accounts/access", posts("/accounts/access", func(m *matrix) url.Values {
			return url.Values{"account": {m.account}, "may": {"yes"}}
		}), done},
		{"POST /labs", posts("/labs", func(m *matrix) url.Values { return url.Values{"name": {"lab " + m.serial()}} }), done},

		{"GET /servers", at("/servers"), screens},
		{"POST /servers", posts("/servers", func(*matrix) url.Values { return url.Values{"server": {"http://127.0.0.1:1"}, "code": {"no code"}} }), [5]int{303, 403, 403, 403, 422}},
		{"POST /servers/now", posts("/servers/now", func(*matrix) url.Values { return url.Values{} }), done},
		{"POST /servers/key", posts("/servers/key", func(*matrix) url.Values { return url.Values{} }), [5]int{303, 403, 403, 403, 409}},
		{"POST /servers/stop", posts("/servers/stop", func(*matrix) url.Values { return url.Values{"id": {uuid.NewString()}} }), [5]int{303, 403, 403, 403, 404}},

		{echo.RouteNotFound + " /api/v1", at("/api/v1"), [5]int{401, 404, 404, 404, 404}},
		{echo.RouteNotFound + " /api/v1/*", at("/api/v1/nothing"), [5]int{401, 404, 404, 404, 404}},
		{"GET /api/v1/labs", at("/api/v1/labs"), read},
		{"POST /api/v1/labs", sends("/api/v1/labs", func(m *matrix) any { return map[string]string{"name": "lab " + m.serial()} }), [5]int{401, 403, 403, 403, 201}},
		{"GET /api/v1/labs/:lab/items", inLab("/items"), ofLab},
		{"GET /api/v1/labs/:lab/mountings", inLab("/mountings"), ofLab},
		{"GET /api/v1/labs/:lab/services", inLab("/services"), ofLab},
		{"GET /api/v1/labs/:lab/calibrations", inLab("/calibrations"), ofLab},
		{"GET /api/v1/labs/:lab/states", inLab("/states"), ofLab},
		{"GET /api/v1/labs/:lab/corrections", inLab("/corrections"), ofLab},
		{"POST /api/v1/labs/:lab/states", sends("/states", func(m *matrix) any {
			return map[string]any{"item": m.ram, "state": "in service", "effective_at": now, "reason": "test"}
		}), keep},
		{"POST /api/v1/labs/:lab/corrections", sends("/corrections", func(m *matrix) any {
			return map[string]any{"item": m.ram, "strokes": 2, "effective_at": now, "reason": "test"}
		}), keep},
		{"GET /api/v1/labs/:lab/campaigns", inLab("/campaigns"), ofLab},
		{"GET /api/v1/labs/:lab/rigs", inLab("/rigs"), ofLab},
		{"GET /api/v1/labs/:lab/rigs/:rig/checks", func(m *matrix) (string, string, string) { return inLab("/rigs/" + m.rig + "/checks")(m) }, ofLab},
		{"GET /api/v1/labs/:lab/check-limits", inLab("/check-limits"), ofLab},
		{"POST /api/v1/labs/:lab/check-limits", sends("/check-limits", func(m *matrix) any {
			return map[string]any{"rig": m.rig, "pad": "P-1", "limits": []map[string]any{{"result": "hic15", "most": 300}}, "effective_at": now}
		}), keep},
		{"GET /api/v1/labs/:lab/campaigns/:id", func(m *matrix) (string, string, string) { return inLab("/campaigns/" + m.campaign)(m) }, ofLab},
		{"POST /api/v1/labs/:lab/items", sends("/items", func(m *matrix) any { return lab.Item{Class: "sensor", Serial: m.serial()} }), keep},
		{"POST /api/v1/labs/:lab/mountings", sends("/mountings", func(m *matrix) any {
			return map[string]any{"rig": m.rig, "item": m.item, "position": "ax", "effective_at": now}
		}), keep},
		{"POST /api/v1/labs/:lab/services", sends("/services", func(m *matrix) any { return map[string]any{"item": m.ram, "effective_at": now} }), keep},
		{"POST /api/v1/labs/:lab/calibrations", sends("/calibrations", func(m *matrix) any {
			return map[string]any{"item": m.item, "effective_at": now, "due_at": now, "certificate": m.serial()}
		}), keep},
		{"POST /api/v1/labs/:lab/campaigns", sends("/campaigns", func(m *matrix) any { return map[string]any{"name": m.serial()} }), keep},
		{"PUT /api/v1/labs/:lab/campaigns/:id/schedule", func(m *matrix) (string, string, string) {
			return sends("/campaigns/"+m.campaign+"/schedule", func(m *matrix) any { return map[string]any{"rig": m.rig} })(m)
		}, setting},
		{"GET /api/v1/labs/:lab/digest", inLab("/digest"), ofLab},
		{"GET /api/v1/labs/:lab/bookings", inLab("/bookings"), ofLab},
		{"POST /api/v1/labs/:lab/bookings", sends("/bookings", func(m *matrix) any {
			from := time.Now().Add(time.Duration(m.n) * time.Hour)
			return map[string]any{"rig": m.rig, "from": from, "to": from.Add(time.Minute), "department": "test", "anyway": "test"}
		}), [5]int{401, 404, 201, 201, 201}},
		{"GET /api/v1/labs/:lab/bookings/:id", inLab("/bookings/" + uuid.NewString()), noOrder}, // TestBookingAPI has some
		{"POST /api/v1/labs/:lab/bookings/:id/move", sends("/bookings/"+uuid.NewString()+"/move", func(*matrix) any { return map[string]any{"from": now, "to": now} }), noOrder},
		{"POST /api/v1/labs/:lab/bookings/:id/cancel", sends("/bookings/"+uuid.NewString()+"/cancel", func(*matrix) any { return map[string]any{"reason": "test"} }), noOrder},
		{"GET /api/v1/labs/:lab/work-orders", inLab("/work-orders"), ofLab},
		{"POST /api/v1/labs/:lab/work-orders", func(m *matrix) (string, string, string) {
			return sends("/work-orders?confirmed=yes", func(m *matrix) any { return map[string]any{"item": m.item, "what": "look at it"} })(m)
		}, keep},
		{"GET /api/v1/labs/:lab/work-orders/:id", inLab("/work-orders/" + uuid.NewString()), noOrder}, // TestUpkeepAPI has some
		{"POST /api/v1/labs/:lab/work-orders/:id/close", sends("/work-orders/"+uuid.NewString()+"/close", func(*matrix) any { return map[string]any{} }), aboutNoOrder},
		{"POST /api/v1/labs/:lab/work-orders/:id/cancel", sends("/work-orders/"+uuid.NewString()+"/cancel", func(*matrix) any { return map[string]any{"reason": "test"} }), aboutNoOrder},
		{"POST /api/v1/labs/:lab/work-orders/:id/reopen", sends("/work-orders/"+uuid.NewString()+"/reopen", func(*matrix) any { return map[string]any{"reason": "test"} }), aboutNoOrder},
		{"GET /api/v1/labs/:lab/service-plans", inLab("/service-plans"), ofLab},
		{"PUT /api/v1/labs/:lab/service-plans/:class", sends("/service-plans/hose", func(m *matrix) any { return map[string]any{"every_days": 100 + m.n} }), setting},
		{"DELETE /api/v1/labs/:lab/service-plans/:class", inLab("/service-plans/hose"), setting},
		{"PUT /api/v1/labs/:lab/items/:item/service-plan", func(m *matrix) (string, string, string) {
			return sends("/items/"+m.item+"/service-plan", func(m *matrix) any { return map[string]any{"every_days": 100 + m.n} })(m)
		}, setting},
		{"DELETE /api/v1/labs/:lab/items/:item/service-plan", func(m *matrix) (string, string, string) {
			return inLab("/items/" + m.item + "/service-plan")(m)
		}, setting},
		{"GET /api/v1/labs/:lab/items/:item/documents", func(m *matrix) (string, string, string) { return inLab("/items/" + m.item + "/documents")(m) }, ofLab},
		{"POST /api/v1/labs/:lab/items/:item/documents", func(m *matrix) (string, string, string) {
			p, _, _ := inLab("/items/" + m.item + "/documents?name=a.pdf")(m)
			return p, "application/pdf", "%PDF-1.7 " + m.serial()
		}, keep},
		{"GET /api/v1/documents/:id/file", at("/api/v1/documents/" + uuid.NewString() + "/file"), noOrder}, // TestDocumentsAPI has some
		{"DELETE /api/v1/documents/:id", at("/api/v1/documents/" + uuid.NewString()), noOrder},
		{"POST /api/v1/labs/:lab/codes", sends("/codes", func(*matrix) any { return map[string]any{"name": "rig ten"} }), keep},
		{"GET /api/v1/agents", at("/api/v1/agents"), read},
		{"GET /api/v1/servers", at("/api/v1/servers"), read},
		{"GET /api/v1/alarms", at("/api/v1/alarms"), read},
		{"POST /api/v1/alarms/:id/seen", func(*matrix) (string, string, string) { return "/api/v1/alarms/" + uuid.NewString() + "/seen", "", "" }, [5]int{401, 404, 404, 404, 404}},
		{"POST /api/v1/agents/:node/revoke", func(m *matrix) (string, string, string) {
			return "/api/v1/agents/" + m.birch.agent.Node.ID.String() + "/revoke", "", ""
		}, [5]int{401, 404, 403, 204, 204}},
		{"GET /api/v1/shots", at("/api/v1/shots"), read},
		{"GET /api/v1/shots/:id", shot("/api/v1/shots/:id"), ofLab},
		{"GET /api/v1/shots/:id/photos", shot("/api/v1/shots/:id/photos"), ofLab},
		{"GET /photos/:id", at("/photos/" + uuid.NewString()), [5]int{303, 404, 404, 404, 404}}, // TestPhotosOnTheServer has one
		{"GET /photos/:id/original", at("/photos/" + uuid.NewString() + "/original"), [5]int{303, 404, 404, 404, 404}},
		{"GET /photos/:id/small.jpg", at("/photos/" + uuid.NewString() + "/small.jpg"), [5]int{303, 404, 404, 404, 404}},
		{"GET /photos/:id/large.jpg", at("/photos/" + uuid.NewString() + "/large.jpg"), [5]int{303, 404, 404, 404, 404}},
		{"GET /api/v1/shots/:id/source", shot("/api/v1/shots/:id/source"), ofLab},
		{"GET /api/v1/accounts", at("/api/v1/accounts"), admin},
		{"POST /api/v1/accounts", sends("/api/v1/accounts", func(m *matrix) any {
			return map[string]string{"login": "q" + m.serial(), "password": "a long password"}
		}), [5]int{401, 403, 403, 403, 201}},

		{"POST /password", posts("/password", func(*matrix) url.Values { return url.Values{"present": {"wrong"}} }), [5]int{303, 422, 422, 422, 422}},
		{"POST /signout", posts("/signout", func(*matrix) url.Values { return nil }), [5]int{303, 303, 303, 303, 303}}, // last: it ends the sessions
	}
}

func inLabSync(m *matrix) (string, string, string) {
	return "/sync/v1/labs/" + m.birch.id.String() + "/blobs/" + strings.Repeat("0", 64), "", ""
}

func inLabUpload(m *matrix) (string, string, string) {
	return "/sync/v1/labs/" + m.birch.id.String() + "/uploads/" + strings.Repeat("0", 64), "", ""
}

// TestEveryRouteForEveryPerson holds invariant I9 for people: each route of the
// server has a rule, and answers by it.
func TestEveryRouteForEveryPerson(t *testing.T) {
	t.Parallel()
	all := rules()
	known := map[string]bool{}
	for _, r := range all {
		known[r.route] = true
	}
	routes, err := server.Routes(t.Context(), server.Options{Data: t.TempDir(), Listen: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range routes {
		if !known[r] {
			t.Errorf("no rule says who may use %s", r)
		}
	}
	for r := range known {
		if !slices.Contains(routes, r) {
			t.Errorf("there is a rule for %s, which is no route", r)
		}
	}
	if len(routes) < 50 {
		t.Errorf("only %d routes were found", len(routes))
	}
	w := start(t)
	m := &matrix{T: t, w: w, birch: w.open("Birch", 3), cedar: w.open("Cedar", 2)}
	m.people = [5]*person{w.stranger(), m.cedar.manager, m.birch.operator, m.birch.manager, w.admin}
	m.fill()
	names := []string{"stranger", "manager of another lab", "operator", "manager", "administrator"}
	for _, r := range all {
		method, _, _ := strings.Cut(r.route, " ")
		if method == echo.RouteNotFound {
			method = http.MethodGet
		}
		for i, p := range m.people {
			path, media, body := r.send(m)
			a := p.do(method, path, media, strings.NewReader(body))
			if a.status != r.want[i] {
				t.Errorf("%s answers %d to the %s, want %d: %.300s", r.route, a.status, names[i], r.want[i], a.body)
			}
			if i == 1 && (strings.Contains(a.body, "Birch") || strings.Contains(a.body, m.rig) && !strings.Contains(body, m.rig)) {
				t.Errorf("%s shows lab Birch to the manager of another lab", r.route)
			}
			if i == 0 && a.status == http.StatusSeeOther && !strings.HasPrefix(a.header.Get("Location"), "/signin") {
				t.Errorf("%s sends a stranger to %q", r.route, a.header.Get("Location"))
			}
		}
	}
}

// fill finds what the rules name.
func (m *matrix) fill() {
	m.Helper()
	base := "/api/v1/labs/" + m.birch.id.String()
	m.ram = m.w.admin.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: "R-1", ServiceEveryStrokes: 100}).String()
	m.item = m.w.admin.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-1", CalibrationRequired: true}).String()
	m.campaign = m.w.admin.make(base+"/campaigns", map[string]any{"name": "Birch series", "specimens": []string{"Birch specimen"},
		"cells": []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 2}}}).String()
	rigs := into[[]struct{ ID uuid.UUID }](m.T, m.w.admin.get(base+"/rigs"))
	if len(rigs) == 0 {
		m.Fatal("the rig that was stated before enrolment is not among the lab's rigs")
	}
	m.rig = rigs[0].ID.String()
	for _, a := range into[[]struct{ ID, Login string }](m.T, m.w.admin.get("/api/v1/accounts")) {
		if a.Login == "cedar.operator" {
			m.account = a.ID
		}
	}
}

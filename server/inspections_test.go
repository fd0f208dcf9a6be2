package server_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// What is inspected and noted at a rig is read on the server by its own lab,
// and by nobody else.
func TestInspectionsAndLogOnTheServer(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Oak", 3), w.open("Elm", 3)
	shot := s.Shots[len(s.Shots)-1]
	at := lab.At(labtest.Start())
	labtest.Append(t, s.agent.Ledger, s.Lab,
		labtest.Draft(t, uuid.New(), &lab.Inspection{Shot: shot, Specimen: "Oak guard", EffectiveAt: at, Verdict: lab.VerdictFailed, Reason: "left weld parted",
			Findings: []lab.Finding{{Element: lab.ElementWeld, Grade: lab.GradeFailed}, {Element: lab.ElementBar, DeformationMM: new(4.25)}}}),
		labtest.Draft(t, uuid.New(), &lab.Note{Topic: lab.NoteDeviation, EffectiveAt: at, Text: "hall was cold in Oak"}))
	s.sync()
	for path, text := range map[string]string{
		"/inspections": "left weld parted", "/inspections?specimen=oak+guard": "Oak guard", "/specimens/oak%20guard": "out: failed", "/log": "hall was cold in Oak", "/log?kind=deviation": "hall was cold in Oak",
		"/inspections.csv": "left weld parted", "/log.csv": "hall was cold in Oak", "/api/v1/inspections?standing=yes": `"deformation_mm":4.25`, "/api/v1/specimens/oak%20guard": `"out":true`, "/shots/" + shot.String(): "left weld parted",
	} {
		if a := s.operator.get(path).want(t, 200, path); !strings.Contains(a.body, text) {
			t.Errorf("GET %s does not say %q", path, text)
		}
		if a := other.manager.get(path); strings.Contains(a.body, text) && text != "Oak guard" {
			t.Errorf("GET %s tells another lab %q", path, text)
		}
	}
	if strings.Contains(s.manager.get("/log").body, "Add an entry") {
		t.Error("the server offers a form that it does not take")
	}
	w.admin.get("/log?kind=rumour").want(t, 422, "a kind that is none")
}

package server_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/web/picture/picturetest"
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

// A photo from a rig is shown, and given out byte for byte, to its own lab only;
// until its bytes are here, that is what is said.
func TestPhotosOnTheServer(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Oak", 3), w.open("Elm", 3)
	shot := s.Shots[len(s.Shots)-1]
	original := picturetest.JPEG(t, picturetest.Corners(64, 48), picturetest.Tags{Orientation: 3, Position: true}, 0)
	ref, err := s.agent.Blobs.Put(t.Context(), bytes.NewReader(original), 0)
	if err != nil {
		t.Fatal(err)
	}
	id := lab.PhotoOf(shot, "", ref.SHA256)
	d := labtest.Draft(t, id, &lab.Photo{Shot: shot, SHA256: ref.SHA256, EffectiveAt: lab.At(labtest.Start())})
	d.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RolePhoto, Media: "image/jpeg", Name: "guard.jpg"}}
	// One that names bytes which its lab never brought.
	late := labtest.Draft(t, uuid.New(), &lab.Photo{Shot: shot, SHA256: labtest.Hash(77), EffectiveAt: lab.At(labtest.Start())})
	labtest.Append(t, s.agent.Ledger, s.Lab, d, late)
	s.sync()
	path := "/photos/" + id.String()
	if a := s.operator.get("/shots/"+shot.String()).want(t, 200, "shot"); !strings.Contains(a.body, path+"/small.jpg") || !strings.Contains(a.body, "its bytes are not here yet") {
		t.Error("the shot does not show its photos")
	}
	for p, words := range map[string]string{path: "says where it was taken", path + "/original": string(original), path + "/small.jpg": "\xff\xd8", path + "/large.jpg": "\xff\xd8",
		"/api/v1/shots/" + shot.String() + "/photos": ref.SHA256.String(), "/photos/" + uuid.UUID(late.UID).String(): "still on the rig PC"} {
		if a := s.operator.get(p).want(t, 200, p); !strings.Contains(a.body, words) {
			t.Errorf("GET %s does not say %.40q", p, words)
		}
		if a := other.manager.get(p); a.status != 404 {
			t.Errorf("GET %s = %d to another lab", p, a.status)
		}
	}
	if a := s.operator.get("/photos/" + uuid.UUID(late.UID).String() + "/large.jpg"); a.status != 404 {
		t.Errorf("bytes that are not here = %d", a.status)
	}
}

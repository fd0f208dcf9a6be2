package page

import (
	"net/url"
	"time"
)

// Paths of inspections, specimens and the log.
const (
	PathInspections = "/inspections"
	PathSpecimens   = "/specimens"
	PathLog         = "/log"
)

// InspectPath is the form for the specimen of one shot (GET, POST).
func InspectPath(id string) string { return ShotPath(id) + "/inspect" }

// InspectDraftPath keeps what was typed so far (POST).
func InspectDraftPath(id string) string { return InspectPath(id) + "/draft" }

// SpecimenPath is the history of one specimen.
func SpecimenPath(name string) string { return PathSpecimens + "/" + url.PathEscape(name) }

// Inspect is the form for a specimen after a shot, on the agent.
type Inspect struct {
	Frame
	ShotHref     string
	Shot         string // in words, as "shot of 2026-03-02 08:00:00, front"
	Specimen     string
	SpecimenHref string
	Criteria     string // whose criteria hold, in words
	Groups       []InspectGroup
	Form         Form // its fields are those after the elements
	DraftAction  string
	Draft        time.Time // when the values shown were kept; zero: there is no draft
	DraftBy      string
	Proposal     Proposal
	Earlier      []InspectionRow
	Photos       []Photo
	Most         int64 // bytes of one photo
	Correcting   bool  // an inspection that is recorded already
}

func (Inspect) screen() string { return "inspect" }

// InspectGroup is the fields of one element.
type InspectGroup struct {
	Legend    string
	Help      string
	Criterion string // with what it passes; empty: not judged
	Form      Form
}

// Proposal is what the criteria say of what was entered so far.
type Proposal struct {
	State Status
	Why   []string
	Open  []string // what they still need
}

// InspectionRow is one inspection in a list.
type InspectionRow struct {
	ID          string
	At          time.Time
	Lab         string // shown when any row has one
	Specimen    string
	Shot        string // id; empty: not after a shot
	By          string
	Verdict     Status
	Proposed    string // in words, where the person decided otherwise
	Reason      string
	Findings    []string // what is not sound, in words
	Deformation Number
	Contact     string // "yes", "no", "not looked at"
	Note        string
	Photos      []Photo
	Replaced    bool
	Correct     string // link to the form that corrects it; empty where the caller may not
}

// Inspections is the list of inspections (agent and server).
type Inspections struct {
	Frame
	Specimen string // filter
	Rows     []InspectionRow
	More     string // link to older ones
	CSV      string
}

func (Inspections) screen() string { return "inspections" }

// Elements are the elements that are looked at, by the names of records.
func Elements() []Choice {
	return []Choice{{"bar", "Bars"}, {"weld", "Welds"}, {"coating", "Coating"}, {"attachment", "Attachments"}, {"strap", "Straps"}, {"shell", "Shell"}, {"padding", "Padding"}}
}

// lookFor says what to look for at an element.
func lookFor(element string) string {
	switch element {
	case "bar":
		return "Bent, cracked, broken. Measure the largest lasting deformation against the gauge, or against the state before the first hit."
	case "weld":
		return "Cracks at joints; look at both sides."
	case "coating":
		return "Chips and cracks; what lies bare."
	case "attachment":
		return "Clips, screws and their holes: loose, torn, sheared."
	case "strap":
		return "Stretched, torn, come open."
	case "shell":
		return "Cracks, dents, whitening."
	case "padding":
		return "Pressed flat, torn, come off."
	default:
		return ""
	}
}

// Grades are the conditions of an element, by the names of records.
func Grades() []Choice {
	return []Choice{{"", "not looked at"}, {"sound", "sound"}, {"marked", "marked: traces only"}, {"damaged", "damaged, still holds"}, {"failed", "failed: broken or off"}}
}

// ElementGroups are the fields of all elements; what a campaign asks of each
// stands in criteria, by element.
func ElementGroups(values, errors, criteria map[string]string) []InspectGroup {
	out := make([]InspectGroup, 0, len(Elements()))
	for _, e := range Elements() {
		fields := []Field{{Name: e.Value + "_grade", Label: e.Text + ", condition", Kind: "radio", Options: Grades()}}
		if e.Value == "bar" || e.Value == "shell" || e.Value == "attachment" || e.Value == "padding" {
			fields = append(fields, Field{Name: e.Value + "_mm", Label: e.Text + ", lasting deformation", Unit: "mm", Kind: "number"})
		}
		fields = append(fields, Field{Name: e.Value + "_note", Label: e.Text + ", what exactly", Kind: "text"})
		out = append(out, InspectGroup{Legend: e.Text, Help: lookFor(e.Value), Criterion: criteria[e.Value],
			Form: Form{ID: "in-" + e.Value, Fields: fields, Values: values, Errors: errors}})
	}
	return out
}

// VerdictFields follow the elements. Choices: "campaign".
func VerdictFields() []Field {
	return []Field{
		{Name: "face_contact", Label: "Did the guard touch the face form?", Kind: "radio", Options: []Choice{{"", "not looked at"}, {"no", "no"}, {"yes", "yes"}}},
		{Name: "effective_at", Label: "Looked at", Kind: "datetime-local", Required: true},
		{Name: "campaign", Label: "By the criteria of", Kind: "select"},
		{Name: "note", Label: "Note", Kind: "area"},
		{Name: "verdict", Label: "Verdict, your own", Kind: "radio", Required: true, Options: []Choice{{"passed", "passed: may be hit again"}, {"failed", "failed: out of the campaign"}}},
		{Name: "reason", Label: "Reason", Kind: "text", Help: "Needed where your verdict is not the proposed one, and where it failed without criteria."},
	}
}

// InspectFields are all fields of the form, to read it with Typed.
func InspectFields() []Field {
	var out []Field
	for _, g := range ElementGroups(nil, nil, nil) {
		out = append(out, g.Form.Fields...)
	}
	out = append(out, VerdictFields()...)
	for _, hidden := range []string{"inspection", "corrects"} {
		out = append(out, Field{Name: hidden, Kind: "hidden"})
	}
	return out
}

// Specimen is the history of one specimen (agent and server).
type Specimen struct {
	Frame
	Name      string
	Lab       string
	State     Status
	Why       string
	Campaigns []Choice // link and name; links only where Linked
	Linked    bool
	Labs      []Choice // link and name, when several labs have a specimen of this name
	Hits      []SpecimenHit
	Loose     []InspectionRow // not after one of the hits
	Photos    []Photo         // after no hit
	AddPhotos *PhotoForm      // nil where the caller may not
	CSV       string          // of the inspections
}

func (Specimen) screen() string { return "specimen" }

// Zone names that of all hits; nothing where summer time changed among them.
func (s Specimen) Zone() string {
	at := make([]time.Time, len(s.Hits))
	for i := range s.Hits {
		at[i] = s.Hits[i].Shot.At
	}
	return sameZone(at)
}

// SpecimenHit is one hit with what was seen after it.
type SpecimenHit struct {
	N           int
	Shot        ShotRow
	NoData      bool   // no file came of it: Shot has time, location and target alone
	Why         string // of NoData
	Condition   string
	Deformation Number
	Growth      Number
	Percent     int // of the largest deformation
	Inspections []InspectionRow
	Photos      []Photo
}

package lab

import (
	"fmt"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// The elements of a face guard and its helmet that are looked at after a hit.
const (
	ElementBar        = "bar"
	ElementWeld       = "weld"
	ElementCoating    = "coating"
	ElementAttachment = "attachment"
	ElementStrap      = "strap"
	ElementShell      = "shell"
	ElementPadding    = "padding"
)

// Elements lists them, in the order of a form.
func Elements() []string {
	return []string{ElementBar, ElementWeld, ElementCoating, ElementAttachment, ElementStrap, ElementShell, ElementPadding}
}

// The grades of an element's condition. The scale is this program's own; what
// exactly was seen stands in the finding's note.
const (
	GradeSound   = "sound"   // nothing to see
	GradeMarked  = "marked"  // traces, no loss of shape or hold
	GradeDamaged = "damaged" // bent, cracked, loosened or torn, and still holds
	GradeFailed  = "failed"  // broken, parted or come off
)

// Grades lists them, the best first.
func Grades() []string { return []string{GradeSound, GradeMarked, GradeDamaged, GradeFailed} }

// The verdicts on a specimen.
const (
	VerdictPassed = "passed"
	VerdictFailed = "failed"
)

// Whether the guard touched the face form.
const (
	ContactYes = "yes"
	ContactNo  = "no"
)

// Finding is what was seen at one element. A grade that is empty was not
// looked at.
type Finding struct {
	Element       string   `json:"element"`
	Grade         string   `json:"grade,omitempty"`
	DeformationMM *float64 `json:"deformation_mm,omitempty"` // left after the hit, the largest measured
	Note          string   `json:"note,omitempty"`
}

// Inspection says in which state a specimen was when somebody looked at it
// after a hit. A correction is a new inspection that names what it corrects.
// Photos are attachments of the record with role RolePhoto.
type Inspection struct {
	Shot        uuid.UUID   `json:"shot"` // zero: not after a hit of this store, as on arrival
	Specimen    string      `json:"specimen"`
	Campaign    uuid.UUID   `json:"campaign"` // whose criteria were applied; zero: none
	EffectiveAt Time        `json:"effective_at"`
	Findings    []Finding   `json:"findings,omitempty"` // one an element
	FaceContact string      `json:"face_contact,omitempty"`
	Proposed    string      `json:"proposed,omitempty"` // by the criteria; "": they did not decide
	Verdict     string      `json:"verdict"`            // a person's
	Reason      string      `json:"reason,omitempty"`   // see NeedsReason
	Note        string      `json:"note,omitempty"`
	Corrects    []uuid.UUID `json:"corrects,omitempty"` // earlier inspections that this one replaces
}

// RecordKind is KindInspection.
func (*Inspection) RecordKind() record.Kind { return KindInspection }

// SchemaVersion is InspectionSchema.
func (*Inspection) SchemaVersion() uint { return InspectionSchema }

// Bounds of what can be measured at a guard with a ruler or an arm.
const (
	MaxDeformationMM = 500
	maxCorrects      = 100
)

// Validate gives all faults at once.
func (i *Inspection) Validate() error {
	c := &checks{what: KindInspection}
	if Fold(i.Specimen) == "" {
		c.add("specimen", "the specimen is missing", "say which specimen was looked at")
	}
	c.text("specimen", i.Specimen, MaxText)
	c.when("effective_at", i.EffectiveAt)
	seen := map[string]bool{}
	for k := range i.Findings {
		f := &i.Findings[k]
		c.oneOf("finding, element", f.Element, Elements()...)
		c.oneOf("finding, "+f.Element, f.Grade, append(Grades(), "")...)
		c.number("finding, "+f.Element+", deformation_mm", f.DeformationMM, 0, MaxDeformationMM)
		c.text("finding, "+f.Element+", note", f.Note, MaxNote)
		if seen[f.Element] {
			c.add("finding, "+f.Element, "the element stands there twice", "keep one finding an element")
		}
		seen[f.Element] = true
	}
	c.oneOf("face_contact", i.FaceContact, ContactYes, ContactNo, "")
	c.oneOf("proposed", i.Proposed, VerdictPassed, VerdictFailed, "")
	c.oneOf("verdict", i.Verdict, VerdictPassed, VerdictFailed)
	if i.NeedsReason() && Fold(i.Reason) == "" {
		fix := "say why, since the criteria do not lead to this verdict"
		if i.Proposed == "" {
			fix = "say why it failed, since no criteria led to this verdict"
		}
		c.add("reason", "the reason is missing", fix)
	}
	c.text("reason", i.Reason, MaxNote)
	c.text("note", i.Note, MaxNote)
	if n := len(i.Corrects); n > maxCorrects {
		c.add("corrects", fmt.Sprintf("%d inspections, the most is %d", n, maxCorrects), "correct them in steps")
	}
	return c.err()
}

// NeedsReason says that the verdict has to be explained: it is not the proposed
// one, or the specimen failed and no criteria say so.
func (i *Inspection) NeedsReason() bool {
	return i.Verdict != i.Proposed && (i.Proposed != "" || i.Verdict == VerdictFailed)
}

// Finding gives what was seen at an element; the zero Finding when nothing was
// said of it.
func (i *Inspection) Finding(element string) Finding {
	for _, f := range i.Findings {
		if f.Element == element {
			return f
		}
	}
	return Finding{Element: element}
}

// MaxDeformation is the largest deformation of any element in mm; nil when
// none was measured.
func (i *Inspection) MaxDeformation() *float64 {
	var most *float64
	for k := range i.Findings {
		if d := i.Findings[k].DeformationMM; d != nil && (most == nil || *d > *most) {
			most = d
		}
	}
	return most
}

// InspectionLimit is a campaign's criterion for one element: the worst grade
// and the largest deformation with which a specimen still passes.
type InspectionLimit struct {
	Element string   `json:"element"`
	Worst   string   `json:"worst,omitempty"`   // "": the grade is not judged
	MostMM  *float64 `json:"most_mm,omitempty"` // nil: the deformation is not judged
	Source  string   `json:"source,omitempty"`  // where it is from, in the words of who set it
}

// Judgement is what the criteria of a campaign say of an inspection.
type Judgement struct {
	Verdict string   // "" when they do not decide
	Broken  []string // criteria that are not met, in words
	Open    []string // criteria that need something that was not looked at
}

// Judge holds an inspection against the campaign's criteria: failed when one
// is broken, passed when all are met, and undecided as long as something that
// they need was not looked at, or when there are none.
func (k *Campaign) Judge(i *Inspection) Judgement {
	var j Judgement
	for _, l := range k.InspectionLimits {
		f := i.Finding(l.Element)
		switch at, worst := slices.Index(Grades(), f.Grade), slices.Index(Grades(), l.Worst); {
		case worst < 0:
		case at < 0:
			j.Open = append(j.Open, l.Element+": its condition")
		case at > worst:
			j.Broken = append(j.Broken, fmt.Sprintf("%s: %s, at worst %s passes", l.Element, f.Grade, l.Worst))
		}
		switch {
		case l.MostMM == nil:
		case f.DeformationMM == nil:
			j.Open = append(j.Open, l.Element+": its deformation")
		case *f.DeformationMM > *l.MostMM:
			j.Broken = append(j.Broken, fmt.Sprintf("%s: deformed by %g mm, at most %g mm passes", l.Element, *f.DeformationMM, *l.MostMM))
		}
	}
	if k.FaceContactFails {
		switch i.FaceContact {
		case "":
			j.Open = append(j.Open, "contact with the face form")
		case ContactYes:
			j.Broken = append(j.Broken, "the guard touched the face form")
		}
	}
	switch {
	case len(j.Broken) > 0:
		j.Verdict = VerdictFailed
	case len(j.Open) == 0 && k.Inspected():
		j.Verdict = VerdictPassed
	}
	return j
}

// Inspected says that the campaign has criteria for inspections.
func (k *Campaign) Inspected() bool { return len(k.InspectionLimits) > 0 || k.FaceContactFails }

func (k *Campaign) checkInspectionLimits(c *checks) {
	seen := map[string]bool{}
	for i := range k.InspectionLimits {
		l := &k.InspectionLimits[i]
		c.oneOf("inspection limit, element", l.Element, Elements()...)
		c.oneOf("inspection limit, "+l.Element, l.Worst, append(Grades(), "")...)
		c.number("inspection limit, "+l.Element, l.MostMM, 0, MaxDeformationMM)
		c.text("inspection limit, source", l.Source, MaxText)
		if l.Worst == "" && l.MostMM == nil {
			c.add("inspection limit, "+l.Element, "it limits nothing", "give the worst condition that passes, a deformation, or both")
		}
		if seen[l.Element] {
			c.add("inspection limit, "+l.Element, "the element stands there twice", "keep one criterion an element")
		}
		seen[l.Element] = true
	}
}

package present

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// typedTime is how a form of the browser writes a time.
const typedTime = "2006-01-02T15:04:05"

// InspectionValues gives an inspection as the values of its form.
func InspectionValues(i *lab.Inspection, zone *time.Location) map[string]string {
	v := map[string]string{"face_contact": i.FaceContact, "verdict": i.Verdict, "reason": i.Reason, "note": i.Note, "campaign": idText(i.Campaign),
		"effective_at": i.EffectiveAt.Time().In(zone).Format(typedTime)}
	for _, f := range i.Findings {
		v[f.Element+"_grade"], v[f.Element+"_mm"], v[f.Element+"_note"] = f.Grade, plain(f.DeformationMM), f.Note
	}
	return v
}

func idText(id uuid.UUID) string {
	if id == uuid.Nil {
		return ""
	}
	return id.String()
}

// ReadInspection reads the values of the form; the caller adds shot and
// specimen, and Judge the proposal. Faults are by field. What is wrong is left
// out, so that a draft can be judged by the rest.
func ReadInspection(v map[string]string, zone *time.Location) (i lab.Inspection, faults map[string]string) {
	faults = map[string]string{}
	i = lab.Inspection{FaceContact: v["face_contact"], Verdict: v["verdict"], Reason: v["reason"], Note: v["note"]}
	for _, e := range lab.Elements() {
		f := lab.Finding{Element: e, Grade: v[e+"_grade"], Note: v[e+"_note"]}
		if text := v[e+"_mm"]; text != "" {
			mm, err := page.ParseDecimal(text)
			if err == nil && (mm < 0 || mm > lab.MaxDeformationMM) {
				err = fmt.Errorf("%g mm is outside 0 to %d mm; check the number and its unit", mm, lab.MaxDeformationMM)
			}
			if err != nil {
				faults[e+"_mm"] = err.Error()
			} else {
				f.DeformationMM = &mm
			}
		}
		if f.Grade != "" || f.Note != "" || f.DeformationMM != nil {
			i.Findings = append(i.Findings, f)
		}
	}
	at, err := readTime(v["effective_at"], zone)
	if err != nil {
		faults["effective_at"] = err.Error()
	}
	i.EffectiveAt = lab.At(at)
	if text := v["campaign"]; text != "" {
		if i.Campaign, err = uuid.Parse(text); err != nil {
			faults["campaign"] = "Choose one of the list."
		}
	}
	for _, text := range strings.Fields(v["corrects"]) {
		if id, err := uuid.Parse(text); err == nil {
			i.Corrects = append(i.Corrects, id)
		}
	}
	if v["verdict"] == "" {
		faults["verdict"] = "This is needed: the last word is a person's."
	}
	return i, faults
}

// readTime reads a time of a form, in the zone of the screens.
// ReadTime reads a time as a form sends it.
func ReadTime(text string, zone *time.Location) (time.Time, error) { return readTime(text, zone) }

func readTime(text string, zone *time.Location) (time.Time, error) {
	for _, layout := range []string{typedTime, "2006-01-02T15:04", time.DateOnly} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("“%s” is not a time. Write it as 2026-03-14T15:09", text)
}

// Criteria says per element with what a specimen passes.
func Criteria(k *lab.Campaign) map[string]string {
	out := map[string]string{}
	for _, l := range k.InspectionLimits {
		var parts []string
		if l.Worst != "" {
			parts = append(parts, "at worst “"+l.Worst+"”")
		}
		if l.MostMM != nil {
			parts = append(parts, "at most "+withUnit(page.Show(*l.MostMM, "mm")))
		}
		if l.Source != "" {
			parts = append(parts, l.Source)
		}
		out[l.Element] = strings.Join(parts, ", ")
	}
	return out
}

// CriteriaRows lists the criteria of a campaign for its own screen, in the order
// in which the elements are inspected.
func CriteriaRows(k *lab.Campaign) (out []page.Criterion) {
	of := Criteria(k)
	for _, e := range lab.Elements() {
		if text := of[e]; text != "" {
			out = append(out, page.Criterion{Element: e, Text: text})
		}
	}
	if k.FaceContactFails {
		out = append(out, page.Criterion{Element: "face form", Text: "a guard that touched it fails"})
	}
	return out
}

// Proposal is a judgement in words.
func Proposal(k *lab.Campaign, j lab.Judgement) page.Proposal {
	p := page.Proposal{Why: j.Broken, Open: j.Open}
	switch {
	case k == nil || !k.Inspected():
		p.State = page.Status{Level: page.Plain, Word: "no criteria: nothing is proposed"}
	case j.Verdict == lab.VerdictFailed:
		p.State = page.Status{Level: page.Bad, Word: "failed by the criteria"}
	case j.Verdict == lab.VerdictPassed:
		p.State = page.Status{Level: page.OK, Word: "passed by the criteria"}
	default:
		p.State = page.Status{Level: page.Warn, Word: "the criteria do not decide yet"}
	}
	return p
}

// Inspections says how rows are shown.
type Inspections struct {
	Zone   *time.Location
	Who    func(author string) string                // names an author; may be nil
	Photos func(r *view.InspectionRow) []page.Photo  // taken while it was made; nil: not shown
	Lab    func(r *view.InspectionRow) string        // nil: not shown
	May    func(r *view.InspectionRow) (link string) // to the form that corrects it; nil: nobody may
}

// Row is one inspection for a list.
func (s *Inspections) Row(r *view.InspectionRow) page.InspectionRow {
	i := &r.Inspection
	p := page.InspectionRow{ID: r.ID.String(), At: i.EffectiveAt.Time().In(s.Zone), Specimen: i.Specimen, Shot: idText(i.Shot), By: Who(r.Author, s.Who),
		Verdict: verdictStatus(i.Verdict), Reason: i.Reason, Findings: Seen(i), Deformation: number(i.MaxDeformation(), "mm", "not measured"),
		Contact: cmp.Or(i.FaceContact, "not looked at"), Note: i.Note, Replaced: r.Replaced()}
	if i.Proposed != "" && i.Proposed != i.Verdict {
		p.Proposed = "the criteria said " + i.Proposed
	}
	if s.Photos != nil {
		p.Photos = s.Photos(r)
	}
	if s.Lab != nil {
		p.Lab = s.Lab(r)
	}
	if s.May != nil && !r.Replaced() {
		p.Correct = s.May(r)
	}
	return p
}

// Rows is Row for all.
func (s *Inspections) Rows(all []view.InspectionRow) []page.InspectionRow {
	out := make([]page.InspectionRow, 0, len(all))
	for i := range all {
		out = append(out, s.Row(&all[i]))
	}
	return out
}

func verdictStatus(verdict string) page.Status {
	if verdict == lab.VerdictFailed {
		return page.Status{Level: page.Bad, Word: "failed"}
	}
	return page.Status{Level: page.OK, Word: "passed"}
}

// Seen is what is not sound, element by element, in words.
func Seen(i *lab.Inspection) []string {
	var out []string
	for _, f := range i.Findings {
		var parts []string
		if f.Grade != "" && f.Grade != lab.GradeSound {
			parts = append(parts, f.Grade)
		}
		if f.DeformationMM != nil && *f.DeformationMM > 0 {
			parts = append(parts, "deformed by "+withUnit(page.Show(*f.DeformationMM, "mm")))
		}
		if f.Note != "" {
			parts = append(parts, f.Note)
		}
		if len(parts) > 0 {
			out = append(out, f.Element+": "+strings.Join(parts, ", "))
		}
	}
	if open := unseen(i); len(open) > 0 {
		out = append(out, "not looked at: "+strings.Join(open, ", "))
	}
	return out
}

// unseen names the elements of which nothing was said.
func unseen(i *lab.Inspection) []string {
	return slices.DeleteFunc(lab.Elements(), func(e string) bool {
		f := i.Finding(e)
		return f.Grade != "" || f.DeformationMM != nil || f.Note != ""
	})
}

// InspectionHead are the columns of the table of inspections as CSV.
func InspectionHead() []string {
	head := []string{"id", "looked_at", "specimen", "shot", "verdict", "proposed", "reason", "face_contact"}
	for _, e := range lab.Elements() {
		head = append(head, e, e+"_deformation_mm", e+"_note")
	}
	return append(head, "note", "campaign", "author", "recorded_at", "corrected")
}

// InspectionLine is one inspection under InspectionHead, with all digits.
func InspectionLine(r *view.InspectionRow) []string {
	i := &r.Inspection
	line := []string{r.ID.String(), i.EffectiveAt.String(), i.Specimen, idText(i.Shot), i.Verdict, i.Proposed, i.Reason, i.FaceContact}
	for _, e := range lab.Elements() {
		f := i.Finding(e)
		line = append(line, f.Grade, plain(f.DeformationMM), f.Note)
	}
	return append(line, i.Note, idText(i.Campaign), r.Author, r.RecordedAt.Format(time.RFC3339), yes(r.Replaced()))
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// InspectionLinks adds the links of a list of inspections.
func InspectionLinks(p *page.Inspections, specimen, next string) {
	q := url.Values{}
	if specimen != "" {
		q.Set("specimen", specimen)
	}
	p.CSV = page.PathInspections + ".csv?" + q.Encode()
	if next != "" {
		q.Set("after", next)
		p.More = page.PathInspections + "?" + q.Encode()
	}
}

// AllInspections gives every inspection that fits as a line of the table.
func AllInspections(ctx context.Context, v *view.Reader, sc scope.Scope, f view.InspectionFilter) iter.Seq2[[]string, error] {
	return every(func(p view.Page) (view.List[view.InspectionRow], error) { return v.Inspections(ctx, sc, f, p) }, InspectionLine)
}

// every reads a list to its end, page by page, as lines of a table.
func every[R any](list func(view.Page) (view.List[R], error), line func(*R) []string) iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		for p := (view.Page{Limit: view.MaxLimit}); ; {
			l, err := list(p)
			if err != nil {
				yield(nil, err)
				return
			}
			for i := range l.Rows {
				if !yield(line(&l.Rows[i]), nil) {
					return
				}
			}
			if p.After = l.Next; l.Next == "" {
				return
			}
		}
	}
}

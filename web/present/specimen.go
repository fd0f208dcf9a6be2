package present

import (
	"cmp"
	"context"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// History is all that is recorded of one specimen within a scope.
type History struct {
	Name        string                            // as it was written first
	Hits        []view.ShotRow                    // oldest first, void ones too: they hit it all the same
	Unfiled     []view.StrokesRow                 // oldest first: hits of which no file came
	Inspections []view.InspectionRow              // newest first
	Campaigns   []view.CampaignRow                // that have it
	Out         *view.InspectionRow               // the latest that holds and that it failed; nil: it is not out
	after       map[uuid.UUID]*view.InspectionRow // the newest that holds, by shot
}

// maxHits bounds what one screen shows of a specimen.
const maxHits = 5000

// SpecimenHistory reads the history of a specimen.
func SpecimenHistory(ctx context.Context, v *view.Reader, sc scope.Scope, name string) (*History, error) {
	h := &History{after: map[uuid.UUID]*view.InspectionRow{}}
	for p := (view.Page{Limit: view.MaxLimit}); ; {
		l, err := v.Shots(ctx, sc, view.ShotFilter{Specimen: name, Kind: lab.ShotHit, Oldest: true}, p)
		if err != nil {
			return nil, fmt.Errorf("hits on specimen %s: %w", name, err)
		}
		h.Hits = append(h.Hits, l.Rows...)
		if p.After = l.Next; l.Next == "" || len(h.Hits) >= maxHits {
			break
		}
	}
	for p := (view.Page{Limit: view.MaxLimit}); ; {
		l, err := v.UnfiledHits(ctx, sc, name, p)
		if err != nil {
			return nil, fmt.Errorf("hits without a file on specimen %s: %w", name, err)
		}
		h.Unfiled = append(h.Unfiled, l.Rows...)
		if p.After = l.Next; l.Next == "" || len(h.Unfiled) >= maxHits {
			break
		}
	}
	for p := (view.Page{Limit: view.MaxLimit}); ; {
		l, err := v.Inspections(ctx, sc, view.InspectionFilter{Specimen: name}, p)
		if err != nil {
			return nil, fmt.Errorf("inspections of specimen %s: %w", name, err)
		}
		h.Inspections = append(h.Inspections, l.Rows...)
		if p.After = l.Next; l.Next == "" || len(h.Inspections) >= maxHits {
			break
		}
	}
	var err error
	if h.Campaigns, err = CampaignsWith(ctx, v, sc, name); err != nil {
		return nil, err
	}
	for i := range h.Inspections {
		r := &h.Inspections[i]
		if r.Replaced() {
			continue
		}
		if h.Out == nil && r.Inspection.Verdict == lab.VerdictFailed {
			h.Out = r
		}
		if h.after[r.Inspection.Shot] == nil {
			h.after[r.Inspection.Shot] = r
		}
	}
	h.Name = h.spelled(name)
	return h, nil
}

// spelled is the name as the plan, a shot or an inspection writes it.
func (h *History) spelled(name string) string {
	for i := range h.Campaigns {
		for _, s := range h.Campaigns[i].Campaign.Specimens {
			if lab.Fold(s) == lab.Fold(name) {
				return s
			}
		}
	}
	switch {
	case len(h.Hits) > 0:
		return h.Hits[0].Shot.Specimen
	case len(h.Inspections) > 0:
		return h.Inspections[0].Inspection.Specimen
	case len(h.Unfiled) > 0:
		return h.Unfiled[0].Strokes.Specimen
	}
	return name
}

// Known says that anything is recorded of the specimen.
func (h *History) Known() bool {
	return len(h.Hits)+len(h.Unfiled)+len(h.Inspections)+len(h.Campaigns) > 0
}

// Labs lists the labs that recorded something of it.
func (h *History) Labs() (out [][16]byte) {
	add := func(id [16]byte) {
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	for i := range h.Hits {
		add(h.Hits[i].Lab)
	}
	for i := range h.Unfiled {
		add(h.Unfiled[i].Lab)
	}
	for i := range h.Inspections {
		add(h.Inspections[i].Lab)
	}
	for i := range h.Campaigns {
		add(h.Campaigns[i].Lab)
	}
	return out
}

// Page fills the screen of the specimen; the caller adds the frame.
func (h *History) Page(ctx context.Context, v *view.Reader, sc scope.Scope, s *Inspections) (page.Specimen, error) {
	p := page.Specimen{Name: h.Name, State: page.Status{Level: page.OK, Word: "may be hit"}, CSV: page.PathInspections + ".csv?specimen=" + url.QueryEscape(h.Name)}
	if h.Out != nil {
		i := &h.Out.Inspection
		p.State = page.Status{Level: page.Bad, Word: "out: failed"}
		p.Why = "Failed the inspection of " + page.ShowMoment(i.EffectiveAt.Time().In(s.Zone)) + ". It is not offered for another hit. If that verdict is wrong, correct the inspection."
	}
	for i := range h.Campaigns {
		p.Campaigns = append(p.Campaigns, page.Choice{Value: page.CampaignPath(h.Campaigns[i].ID.String()), Text: h.Campaigns[i].Campaign.Name})
	}
	mm, grown := h.deformations()
	most := 0.0
	for _, d := range mm {
		if d != nil {
			most = max(most, *d)
		}
	}
	by := map[uuid.UUID][]page.InspectionRow{}
	for i := range h.Inspections {
		r := &h.Inspections[i]
		by[r.Inspection.Shot] = append(by[r.Inspection.Shot], s.Row(r))
	}
	for i := range h.Hits {
		row, err := ListRow(ctx, v, sc, &h.Hits[i], s.Zone)
		if err != nil {
			return p, err
		}
		hit := page.SpecimenHit{Shot: row, Condition: h.Hits[i].Shot.Condition, Deformation: number(mm[i], "mm", "not measured"), Growth: number(grown[i], "mm", "not known"), Inspections: by[h.Hits[i].ID]}
		if mm[i] != nil && most > 0 {
			hit.Percent = int(100 * *mm[i] / most)
		}
		delete(by, h.Hits[i].ID)
		p.Hits = append(p.Hits, hit)
	}
	h.addUnfiled(&p, s.Zone)
	for _, rows := range by { // not after one of these hits
		p.Loose = append(p.Loose, rows...)
	}
	slices.SortFunc(p.Loose, func(a, b page.InspectionRow) int { return cmp.Or(b.At.Compare(a.At), cmp.Compare(a.ID, b.ID)) })
	return p, nil
}

// InspectionJSON is one inspection as the API gives it.
type InspectionJSON struct {
	ID          uuid.UUID     `json:"id"`
	Lab         uuid.UUID     `json:"lab"`
	Shot        *uuid.UUID    `json:"shot"`
	Specimen    string        `json:"specimen"`
	Campaign    *uuid.UUID    `json:"campaign"`
	EffectiveAt lab.Time      `json:"effective_at"`
	Findings    []lab.Finding `json:"findings"`
	FaceContact string        `json:"face_contact,omitempty"`
	Proposed    string        `json:"proposed,omitempty"`
	Verdict     string        `json:"verdict"`
	Reason      string        `json:"reason,omitempty"`
	Note        string        `json:"note,omitempty"`
	Corrects    []uuid.UUID   `json:"corrects,omitempty"`
	CorrectedBy *uuid.UUID    `json:"corrected_by,omitempty"`
	Author      string        `json:"author"`
	RecordedAt  time.Time     `json:"recorded_at"`
}

func idOrNull(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

// InspectionBody is a row for the API.
func InspectionBody(r *view.InspectionRow) InspectionJSON {
	i := &r.Inspection
	b := InspectionJSON{ID: r.ID, Lab: r.Lab, Shot: idOrNull(i.Shot), Specimen: i.Specimen, Campaign: idOrNull(i.Campaign), EffectiveAt: i.EffectiveAt, Findings: i.Findings,
		FaceContact: i.FaceContact, Proposed: i.Proposed, Verdict: i.Verdict, Reason: i.Reason, Note: i.Note, Corrects: i.Corrects, Author: r.Author, RecordedAt: r.RecordedAt}
	if b.Findings == nil {
		b.Findings = []lab.Finding{}
	}
	if r.Replaced() {
		b.CorrectedBy = idOrNull(r.Withdrawn.By)
	}
	return b
}

// InspectionBodies is InspectionBody for all, never nil.
func InspectionBodies(rows []view.InspectionRow) []InspectionJSON {
	out := make([]InspectionJSON, 0, len(rows))
	for i := range rows {
		out = append(out, InspectionBody(&rows[i]))
	}
	return out
}

// ParseInspectionQuery reads the query of the list of inspections: specimen,
// shot, standing, limit, and under the name cursor the place in the list.
func ParseInspectionQuery(q url.Values, cursor string) (f view.InspectionFilter, p view.Page, err error) {
	f.Specimen, p.Limit, p.After = q.Get("specimen"), view.DefaultLimit, q.Get(cursor)
	if s := q.Get("shot"); s != "" {
		if f.Shot, err = uuid.Parse(s); err != nil {
			return f, p, problem.New(problem.Invalid, fmt.Sprintf("The shot %q is not an id.", s), "Give the id of a shot, or leave it out.")
		}
	}
	switch s := q.Get("standing"); s {
	case "", "no":
	case "yes":
		f.Standing = true
	default:
		return f, p, problem.New(problem.Invalid, fmt.Sprintf("standing is %q.", s), "Say yes to leave out what was corrected, or leave it out.")
	}
	if s := q.Get("limit"); s != "" {
		if p.Limit, err = strconv.Atoi(s); err != nil || p.Limit < 1 || p.Limit > 500 {
			return f, p, problem.New(problem.Invalid, fmt.Sprintf("The limit %q is not a whole number from 1 to 500.", s), "Leave it out, or give such a number.")
		}
	}
	return f, p, nil
}

// InspectionsJSON is a part of the list of inspections.
type InspectionsJSON struct {
	Inspections []InspectionJSON `json:"inspections"`
	Next        string           `json:"next,omitempty"`
}

// InspectionList is a part of a list for the API.
func InspectionList(l view.List[view.InspectionRow]) InspectionsJSON {
	return InspectionsJSON{InspectionBodies(l.Rows), l.Next}
}

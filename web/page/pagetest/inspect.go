package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

func inspectionRow(i int) page.InspectionRow {
	r := page.InspectionRow{ID: fmt.Sprintf("i-%03d", i), At: ago(time.Duration(i) * 11 * time.Minute), Specimen: fmt.Sprintf("FG-A-%03d", 12+i/4), Shot: row(i).ID, By: "r.example",
		Verdict: page.Status{Level: page.OK, Word: "passed"}, Findings: []string{"bar: marked, deformed by 0.8\u00a0mm"}, Deformation: page.Show(0.8+0.3*float64(i%4), "mm"), Contact: "no"}
	switch i % 6 {
	case 1:
		r.Verdict, r.Reason, r.Proposed = page.Status{Level: page.Bad, Word: "failed"}, "weld opens when pressed by hand", "the criteria said passed"
		r.Findings = []string{"bar: damaged, deformed by 4.1\u00a0mm, lower bar", "weld: damaged, crack at the left joint", "not looked at: strap, padding"}
		r.Deformation, r.Contact = page.Show(4.1, "mm"), "yes"
		r.Photos = photos(2)
	case 3:
		r.Replaced, r.Note = true, "wrong specimen was entered"
	case 5:
		r.Findings, r.Deformation, r.Contact, r.By = nil, page.Missing("not measured"), "not looked at", "at the rig"
	}
	if !r.Replaced {
		r.Correct = page.InspectPath(r.Shot) + "?corrects=" + r.ID
	}
	return r
}

func inspectionRows(n int) []page.InspectionRow {
	out := make([]page.InspectionRow, n)
	for i := range out {
		out[i] = inspectionRow(i)
	}
	return out
}

func inspectForm(values, errors map[string]string) page.Inspect {
	id := row(0).ID
	criteria := map[string]string{"bar": "at worst “damaged”, at most 3.0\u00a0mm, own plan", "weld": "at worst “sound”"}
	return page.Inspect{Frame: agentFrame("Inspect FG-A-012", page.PathShots, page.AgentCounts{}), ShotHref: page.ShotPath(id), Shot: "shot of 2031-03-14 15:05:26, front",
		Specimen: "FG-A-012", SpecimenHref: page.SpecimenPath("FG-A-012"), Criteria: "By the criteria of Face guards, spring series. A guard that touched the face form fails.",
		Groups: page.ElementGroups(values, errors, criteria), DraftAction: page.InspectDraftPath(id),
		Proposal: page.Proposal{State: page.Status{Level: page.Warn, Word: "the criteria do not decide yet"}, Open: []string{"bar: its condition", "bar: its deformation", "weld: its condition"}},
		Form: page.Form{ID: "in", Action: page.InspectPath(id), Fields: page.VerdictFields(), Values: values, Errors: errors, Hidden: map[string]string{"inspection": "7d0c"},
			Choices: map[string][]page.Choice{"campaign": {{Value: "", Text: "none"}, {Value: "c1", Text: "Face guards, spring series"}}}}}
}

func inspections() []Item {
	at := map[string]string{"effective_at": "2031-03-14T15:09:26", "campaign": "c1"}
	empty := inspectForm(at, nil)
	typed := map[string]string{"effective_at": "2031-03-14T15:09:26", "campaign": "c1", "bar_grade": "damaged", "bar_mm": "4,1", "bar_note": "lower bar", "weld_grade": "damaged",
		"weld_note": "crack at the left joint", "face_contact": "yes", "verdict": "failed"}
	draft := inspectForm(typed, nil)
	draft.Draft, draft.DraftBy = ago(2*time.Minute), "r.example"
	draft.Proposal = page.Proposal{State: page.Status{Level: page.Bad, Word: "failed by the criteria"}, Why: []string{"bar: deformed by 4.1 mm, at most 3 mm passes", "weld: damaged, at worst sound passes", "the guard touched the face form"}}
	draft.Photos, draft.Most = photos(3), 64e6
	draft.Photos[0].Out, draft.Photos[1].Out = true, true
	wrong := inspectForm(map[string]string{"effective_at": "yesterday", "bar_mm": "4,1o", "weld_note": longName}, map[string]string{
		"bar_mm": "“4,1o” is not a number; write it as 5.5", "effective_at": "“yesterday” is not a time. Write it as 2026-03-14T15:09", "verdict": "This is needed: the last word is a person's."})
	wrong.Correcting, wrong.Earlier = true, inspectionRows(2)
	wrong.Form.Submit = "Record the correction"
	full := inspectForm(typed, nil)
	full.Specimen, full.Earlier = longName, inspectionRows(6)
	full.Photos, full.Most = photos(14), 64e6
	list := page.Inspections{Frame: agentFrame("Inspections", page.PathLog, page.AgentCounts{}), Rows: inspectionRows(12), More: "/inspections?after=x", CSV: "/inspections.csv"}
	none := page.Inspections{Frame: agentFrame("Inspections", page.PathLog, page.AgentCounts{}), CSV: "/inspections.csv"}
	other := page.Inspections{Frame: serverFrame("Inspections", page.PathLog), Specimen: longName, CSV: "/inspections.csv"}
	many := page.Inspections{Frame: serverFrame("Inspections", page.PathLog), Rows: inspectionRows(120), CSV: "/inspections.csv"}
	for i := range many.Rows {
		many.Rows[i].Lab, many.Rows[i].Correct = "Northmere lab", ""
	}
	many.Rows[3].Specimen, many.Rows[3].Note = longName, longName
	hits := specimen(6)
	fullHits := specimen(60)
	fullHits.Name, fullHits.Title = longName, longName
	bare := page.Specimen{Frame: serverFrame("Specimen FG-A-099", page.PathShots), Name: "FG-A-099", State: page.Status{Level: page.OK, Word: "may be hit"},
		Linked: true, Campaigns: []page.Choice{{Value: "/campaigns/c1", Text: "Face guards, spring series"}}, CSV: "/inspections.csv"}
	which := bare
	which.Labs = []page.Choice{{Value: "/specimens/FG-A-099?lab=l1", Text: "Northmere lab"}, {Value: "/specimens/FG-A-099?lab=l2", Text: "Harbour lab"}}
	return []Item{{"log", logScreen(9)}, {"log-empty", logScreen(0)}, {"log-error", logWrong()}, {"log-full", logScreen(120)}, {"specimen", hits}, {"specimen-empty", bare}, {"specimen-error", which}, {"specimen-full", fullHits}, {"inspect", draft}, {"inspect-empty", empty}, {"inspect-error", wrong}, {"inspect-full", full},
		{"photo", photoScreen()}, {"photo-empty", barePhoto()}, {"photo-error", photoWrong()}, {"photo-full", fullPhoto()}, {"photos-taken", photosTaken()}, {"inspections", list}, {"inspections-empty", none}, {"inspections-nothing-fits", other}, {"inspections-full", many}}
}

// specimen is the history of one with n hits.
func specimen(n int) page.Specimen {
	p := page.Specimen{Frame: agentFrame("Specimen FG-A-012", page.PathShots, page.AgentCounts{}), Name: "FG-A-012", State: page.Status{Level: page.Bad, Word: "out: failed"},
		Why:       "Failed the inspection of 2031-03-14 14:58:26 +01:00. It is not offered for another hit. If that verdict is wrong, correct the inspection.",
		Campaigns: []page.Choice{{Text: "Face guards, spring series"}}, CSV: "/inspections.csv", Loose: inspectionRows(1)}
	for i := range n {
		h := page.SpecimenHit{Shot: row(n - 1 - i), Condition: "ambient", Deformation: page.Missing("not measured"), Growth: page.Missing("not known")}
		h.Shot.Specimen, h.Shot.Location = "FG-A-012", "front"
		if i%3 != 2 {
			d := 0.4 * float64(i+1)
			h.Deformation, h.Growth, h.Percent = page.Show(d, "mm"), page.Show(0.4, "mm"), 100*(i+1)/n
			h.Inspections = []page.InspectionRow{inspectionRow(i)}
		}
		if i == 3 {
			h.Shot.Flags = append(h.Shot.Flags, page.Flag{Code: "void", Text: "void: chin strap open", Level: page.Bad})
		}
		p.Hits = append(p.Hits, h)
		if i == 4 {
			bare := page.ShotRow{At: h.Shot.At.Add(2 * time.Minute), Specimen: "FG-A-012", Location: "front", Target: page.Show(5.5, "m/s"), Speed: page.Missing("no file came"), PeakG: page.Missing("no file came"), HIC15: page.Missing("no file came")}
			p.Hits = append(p.Hits, page.SpecimenHit{NoData: true, Why: "acquisition not armed", Shot: bare, Condition: "ambient", Deformation: page.Missing("not measured"), Growth: page.Missing("not known")})
		}
	}
	for i := range p.Hits {
		p.Hits[i].N = i + 1
	}
	p.Loose[0].Shot = ""
	p.Photos, p.AddPhotos = photos(2), &page.PhotoForm{Action: page.SpecimenPhotosPath(p.Name), Most: 64e6, Of: p.Name}
	if n > 1 {
		p.Hits[1].Photos = photos(3)
	}
	return p
}

func logScreen(n int) page.Log {
	p := page.Log{Frame: agentFrame("Log", page.PathLog, page.AgentCounts{}), CSV: "/log.csv", Form: &page.Form{ID: "entry", Action: page.PathLog, Fields: page.LogFields(), Submit: "Add to the log",
		Values: map[string]string{"topic": "note", "effective_at": "2031-03-14T15:09:26"}, Choices: map[string][]page.Choice{"item": {{Value: "", Text: "no item"}, {Value: "i1", Text: "ram, R-12"}}}}}
	for i := range n {
		r := page.LogRow{ID: fmt.Sprintf("l-%d", i), At: ago(time.Duration(i) * 47 * time.Minute), By: "r.example", Correct: "/log?note=x#entry"}
		switch i % 5 {
		case 0:
			r.Kind, r.Text = "note", "Hall at 17 °C this morning; heating on since nine."
		case 1:
			r.Kind, r.About, r.Text, r.Parts, r.Facts = "service", "ram, R-12", "seals changed, rod greased", []string{"seal set, lot 44", "wiper ring"}, []string{"took 45\u00a0min", "done by workshop", "machine's own counter 12\u202f044"}
		case 2:
			r.Kind, r.Text, r.Late, r.RecordedAt = "deviation", "Specimen was 40 s longer out of the chamber than the plan allows.", true, Now()
		case 3:
			r.Kind, r.About, r.Text, r.Ended, r.Correct = "part changed", "impactor face, F-3", "new end cap", page.Status{Level: page.Plain, Word: "corrected since"}, ""
		case 4:
			r.Kind, r.About, r.Text, r.Correct = "mounted", "accelerometer X, S-201", "at position ax", ""
		}
		p.Rows = append(p.Rows, r)
	}
	if n > 100 {
		p.Frame, p.More, p.Form = serverFrame("Log", page.PathLog), "/log?after=x", nil
		for i := range p.Rows {
			p.Rows[i].Lab, p.Rows[i].Correct = "Northmere lab", ""
		}
		p.Rows[2].Text = longName
	}
	return p
}

func logWrong() page.Log {
	p := logScreen(2)
	p.Correcting = true
	p.Form.Values = map[string]string{"topic": "service", "effective_at": "soon", "text": longName, "counter_strokes": "12k"}
	p.Form.Errors = map[string]string{"effective_at": "“soon” is not a time. Write it as 2026-03-14T15:09", "item": "A service needs its item.", "counter_strokes": "“12k” is not a whole number. Write it in digits, as 1000."}
	return p
}

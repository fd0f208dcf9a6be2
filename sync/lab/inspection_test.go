package lab_test

import (
	"slices"
	"strings"
	"testing"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
)

// The criteria decide, and say why; what was not looked at leaves them open.
func TestJudge(t *testing.T) {
	k := &lab.Campaign{Name: "C", FaceContactFails: true, InspectionLimits: []lab.InspectionLimit{
		{Element: lab.ElementBar, Worst: lab.GradeDamaged, MostMM: new(3.0)}, {Element: lab.ElementWeld, Worst: lab.GradeSound}, {Element: lab.ElementShell, MostMM: new(0.0)},
	}}
	bar := func(grade string, mm float64) lab.Finding {
		return lab.Finding{Element: lab.ElementBar, Grade: grade, DeformationMM: &mm}
	}
	weld := lab.Finding{Element: lab.ElementWeld, Grade: lab.GradeSound}
	shell := lab.Finding{Element: lab.ElementShell, DeformationMM: new(0.0)}
	for name, c := range map[string]struct {
		campaign *lab.Campaign
		i        lab.Inspection
		verdict  string
		says     string
	}{
		"at the limits":       {k, lab.Inspection{FaceContact: "no", Findings: []lab.Finding{bar(lab.GradeDamaged, 3), weld, shell}}, lab.VerdictPassed, ""},
		"too far":             {k, lab.Inspection{FaceContact: "no", Findings: []lab.Finding{bar(lab.GradeSound, 3.1), weld, shell}}, lab.VerdictFailed, "bar: deformed by 3.1 mm, at most 3 mm passes"},
		"worse than allowed":  {k, lab.Inspection{FaceContact: "no", Findings: []lab.Finding{bar(lab.GradeFailed, 1), weld, shell}}, lab.VerdictFailed, "bar: failed, at worst damaged passes"},
		"contact":             {k, lab.Inspection{FaceContact: "yes", Findings: []lab.Finding{bar(lab.GradeSound, 0), weld, shell}}, lab.VerdictFailed, "touched the face form"},
		"weld not looked at":  {k, lab.Inspection{FaceContact: "no", Findings: []lab.Finding{bar(lab.GradeSound, 0), shell}}, "", "weld: its condition"},
		"shell not measured":  {k, lab.Inspection{FaceContact: "no", Findings: []lab.Finding{bar(lab.GradeSound, 0), weld}}, "", "shell: its deformation"},
		"contact not said":    {k, lab.Inspection{Findings: []lab.Finding{bar(lab.GradeSound, 0), weld, shell}}, "", "contact with the face form"},
		"broken before open":  {k, lab.Inspection{Findings: []lab.Finding{bar(lab.GradeFailed, 0)}}, lab.VerdictFailed, "bar: failed"},
		"no criteria at all":  {&lab.Campaign{Name: "C"}, lab.Inspection{FaceContact: "yes", Findings: []lab.Finding{bar(lab.GradeFailed, 99)}}, "", ""},
		"element not limited": {k, lab.Inspection{FaceContact: "no", Findings: []lab.Finding{bar(lab.GradeSound, 0), weld, shell, {Element: lab.ElementStrap, Grade: lab.GradeFailed}}}, lab.VerdictPassed, ""},
	} {
		j := c.campaign.Judge(&c.i)
		said := strings.Join(slices.Concat(j.Broken, j.Open), "; ")
		if j.Verdict != c.verdict || !strings.Contains(said, c.says) || (c.says == "") != (said == "") {
			t.Errorf("%s: %q because %q, want %q because %q", name, j.Verdict, said, c.verdict, c.says)
		}
	}
}

func TestMaxDeformation(t *testing.T) {
	i := lab.Inspection{Findings: []lab.Finding{{Element: lab.ElementBar, DeformationMM: new(1.5)}, {Element: lab.ElementShell, DeformationMM: new(4.0)}, {Element: lab.ElementWeld}}}
	if d := i.MaxDeformation(); d == nil || *d != 4 {
		t.Errorf("the largest deformation is %v, want 4 mm", d)
	}
	if d := (&lab.Inspection{}).MaxDeformation(); d != nil {
		t.Errorf("nothing was measured, and it says %g mm", *d)
	}
}

// What an earlier version wrote reads as if the later fields had not been
// recorded.
func TestEarlierBodiesAreRead(t *testing.T) {
	raw, err := record.EncodeBody(map[string]any{"name": "C", "specimens": []string{"H-01"}})
	if err != nil {
		t.Fatal(err)
	}
	var k lab.Campaign
	if err := record.DecodeBody(raw, &k); err != nil || k.Name != "C" || k.Inspected() || k.Validate() != nil {
		t.Errorf("campaign of version 1: %+v, %v", k, err)
	}
	raw, err = record.EncodeBody(map[string]any{"item": labtest.ID("ram"), "effective_at": lab.At(labtest.Start()), "note": "seals", "counter_strokes": 12})
	if err != nil {
		t.Fatal(err)
	}
	var s lab.Service
	if err := record.DecodeBody(raw, &s); err != nil || *s.CounterStrokes != 12 || s.Parts != nil || s.DurationMinutes != nil || s.Validate() != nil {
		t.Errorf("service of version 2: %+v, %v", s, err)
	}
}

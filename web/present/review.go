package present

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Change is a change of a sensitivity in percent, with its sign.
func Change(f *lab.FoundState) string {
	return strings.Replace(fmt.Sprintf("%+.1f %%", f.ChangePercent), "-", "\u2212", 1)
}

// FoundLimit is the limit of such a change.
func FoundLimit(f *lab.FoundState) string {
	if f.Explained {
		return fmt.Sprintf("±%.1f %% is what %s explain; no limit was entered", f.LimitPercent, f.Limit)
	}
	return fmt.Sprintf("limit ±%.1f %%, %s", f.LimitPercent, f.Limit)
}

// FoundReason says what a calibration found outside its limits.
func FoundReason(f *view.Found) string {
	return fmt.Sprintf("Certificate %s found the sensitivity %s off the one of certificate %s; %s.",
		f.Found.Calibration.Certificate, Change(&f.State), f.Good.Calibration.Certificate, FoundLimit(&f.State))
}

// FoundWord says what a change means that a calibration found, in a few words.
func FoundWord(f *lab.FoundState) page.Status {
	switch {
	case f.Explained && f.Out():
		return page.Status{Level: page.Warn, Word: "more than the uncertainties explain"}
	case f.Explained:
		return page.Status{Level: page.OK, Word: "explained by the uncertainties"}
	case f.Out():
		return page.Status{Level: page.Bad, Word: "outside its limit"}
	}
	return page.Status{Level: page.OK, Word: "within its limit"}
}

// Course says in words how a review takes a sensitivity to have run.
func Course(r *lab.Review, zone *time.Location) string {
	for _, c := range page.Courses() {
		if c.Value == r.Course {
			if r.Course == lab.CourseStep {
				return "good until " + page.ShowMoment(r.StepAt.Time().In(zone)) + ", as found from then on"
			}
			return c.Text
		}
	}
	return r.Course
}

// ReviewColumns are the results that two scores of a shot are compared by, in the
// order of the screens: those that a sensitivity can change.
func ReviewColumns() []string {
	return []string{"peak_linear_acceleration", "severity_index", "hic15", "peak_angular_velocity", "peak_angular_acceleration", "bric", "impact_speed"}
}

// Pairs gives one result before and after, for the screen. A score that is nil
// has no results.
func Pairs(key string, before, after *lab.Score) page.Pair {
	one := func(s *lab.Score) page.Number {
		if s == nil {
			return page.Missing("no result")
		}
		r, ok := s.Results[key]
		if !ok {
			return page.Missing("not in the file")
		}
		v, unit := shown(key, r.Value, r.Unit)
		return page.Show(v, unit)
	}
	return page.Pair{Before: one(before), After: one(after)}
}

// ReviewHead names the columns of ReviewCells.
func ReviewHead() []string {
	head := []string{"shot", "fired_at", "campaign", "specimen", "location", "kind", "position", "sensitivity_taken", "sensitivity_unit", "result_before", "result_after"}
	for _, key := range ReviewColumns() {
		head = append(head, key+"_before", key+"_after", key+"_unit")
	}
	return append(head, "verdict_before", "verdict_after", "verdict_changes", "why_not")
}

// Reviewed is one stroke under a review.
type Reviewed struct {
	Shot      view.ShotRow
	Campaigns []view.CampaignRow // that have the specimen
	Position  string
	Held      float64
	Unit      string // of Held
	Before    *lab.Score
	After     *lab.Score
	BeforeNo  int
	AfterNo   int
	Why       string
}

// Verdicts gives the verdicts before and after. A void shot, a dry stroke and
// one without a result have none.
func (r *Reviewed) Verdicts() (before, after Verdict) {
	if r.Shot.Shot.Kind != lab.ShotHit || r.Shot.Void() {
		return before, after
	}
	if r.Before != nil {
		before = VerdictOf(r.Campaigns, r.Before.Results)
	}
	if after = before; r.After != nil {
		after = VerdictOf(r.Campaigns, r.After.Results)
	}
	return before, after
}

// CampaignNames lists the campaigns of the specimen.
func (r *Reviewed) CampaignNames() string {
	names := make([]string, len(r.Campaigns))
	for i := range names {
		names[i] = r.Campaigns[i].Campaign.Name
	}
	return strings.Join(names, ", ")
}

// Row is the stroke for the screen, with the given columns.
func (r *Reviewed) Row(columns []string, zone *time.Location) page.ReviewRow {
	s := &r.Shot.Shot
	row := page.ReviewRow{Href: page.ShotPath(r.Shot.ID.String()), At: s.EffectiveAt.Time().In(zone), What: s.Location, Held: page.Show(r.Held, r.Unit), Why: r.Why}
	if kind := Kind(s.Kind); kind != "" && s.Kind != lab.ShotHit {
		row.What = kind
	}
	if r.Shot.Void() {
		row.What = strings.TrimPrefix(row.What+", void", ", ")
	}
	for _, key := range columns {
		row.Cells = append(row.Cells, Pairs(key, r.Before, r.After))
	}
	before, after := r.Verdicts()
	row.Before, row.After, row.Flips = before.Status(), after.Status(), r.After != nil && before.Differs(after)
	if r.After != nil {
		row.Revision = fmt.Sprintf("%d → %d", r.BeforeNo, r.AfterNo)
	}
	return row
}

// Cells is the stroke as one line of a table under ReviewHead, in full digits and
// the units of the results.
func (r *Reviewed) Cells() []string {
	s := &r.Shot.Shot
	number := func(n int) string {
		if n == 0 {
			return ""
		}
		return fmt.Sprint(n)
	}
	out := []string{r.Shot.ID.String(), s.EffectiveAt.Time().UTC().Format(time.RFC3339Nano), r.CampaignNames(), s.Specimen, s.Location, s.Kind, r.Position,
		fmt.Sprint(r.Held), r.Unit, number(r.BeforeNo), number(r.AfterNo)}
	for _, key := range ReviewColumns() {
		var cells [3]string
		for i, score := range []*lab.Score{r.Before, r.After} {
			if score == nil {
				continue
			}
			if v, ok := score.Results[key]; ok {
				cells[i], cells[2] = fmt.Sprint(v.Value), v.Unit
			}
		}
		out = append(out, cells[:]...)
	}
	before, after := r.Verdicts()
	changes := "no"
	if before.Differs(after) {
		changes = "yes"
	}
	return append(out, before.Status().Word, after.Status().Word, changes, r.Why)
}

// Moves says that a result is another one after.
func Moves(key string, before, after *lab.Score) bool {
	if before == nil || after == nil {
		return false
	}
	a, ok := before.Results[key]
	b, too := after.Results[key]
	return ok != too || a.Value != b.Value
}

// ResultNumber says which of its results a shot shows, and why there are several.
func ResultNumber(scores []view.ScoreRow, zone *time.Location) string {
	if len(scores) < 2 {
		return ""
	}
	s := &scores[0]
	why := ""
	if s.Score.Reason != "" {
		why = ", by another channel map"
	}
	if len(s.Score.Reviews) > 0 {
		why += ", with a corrected sensitivity"
	}
	return fmt.Sprintf("result %d, computed on %s%s; the earlier ones stay in the log", len(scores), page.ShowMoment(s.RecordedAt.In(zone)), why)
}

// ByGroup orders strokes by campaign, specimen and time.
func ByGroup(a, b *Reviewed) int {
	return cmp.Or(cmp.Compare(a.CampaignNames(), b.CampaignNames()), cmp.Compare(lab.Fold(a.Shot.Shot.Specimen), lab.Fold(b.Shot.Shot.Specimen)),
		cmp.Compare(a.Shot.Shot.EffectiveAt, b.Shot.Shot.EffectiveAt))
}

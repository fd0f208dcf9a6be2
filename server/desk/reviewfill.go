package desk

import (
	"cmp"
	"fmt"
	"slices"

	"thudbook/server/review"
	"thudbook/sync/lab"
	"thudbook/web/page"
	"thudbook/web/present"
)

// mostReviewRows bounds what a screen shows of a review; its table as CSV has all.
const mostReviewRows = 2000

// reviewFrame is what both screens of a review share.
func (d *Desk) reviewFrame(p *caller, r *reviewed) page.Review {
	i := &r.item.Item
	s := page.Review{Frame: d.frame(p, "Changed sensitivity: "+i.Title(), page.PathHealth), Item: i.Title(), ItemHref: page.ItemUsePath(r.item.ID.String()), Lab: r.title,
		Change: present.Change(&r.found.State), Limit: present.FoundLimit(&r.found.State)}
	good, found := &r.found.Good.Calibration, &r.found.Found.Calibration
	s.Good = d.certificateOf(good)
	s.Found = d.certificateOf(found)
	s.Found.Sensitivity = page.Show(r.found.State.Sensitivity, good.SensitivityUnit)
	if found.AsFoundSensitivity != nil && found.Sensitivity != nil && *found.AsFoundSensitivity != *found.Sensitivity {
		s.Found.AsLeft = page.Show(*found.Sensitivity, found.SensitivityUnit)
	}
	return s
}

func (d *Desk) certificateOf(k *lab.Calibration) page.ReviewCertificate {
	on, _ := k.Days()
	c := page.ReviewCertificate{Number: k.Certificate, On: on.In(d.zone), Laboratory: k.Laboratory, Sensitivity: page.Missing("not on the certificate")}
	if k.Sensitivity != nil {
		c.Sensitivity = page.Show(*k.Sensitivity, k.SensitivityUnit)
	}
	return c
}

// fillReview puts strokes on a screen, by campaign and specimen, and counts; left
// is how many could still be scored.
func (d *Desk) fillReview(s *page.Review, r *reviewed, lines []present.Reviewed) (left int) {
	columns := moved(lines)
	for _, key := range columns {
		s.Columns = append(s.Columns, columnHead(key, lines))
	}
	scored, changed, flips := 0, 0, 0
	for i := range lines {
		l := &lines[i]
		row := l.Row(columns, d.zone)
		if l.After != nil {
			scored++
		} else if l.Before != nil && (l.Why == "" || l.Why == review.StillAtRig) {
			left++
			row.Why = cmp.Or(row.Why, "not computed yet")
		}
		for _, key := range columns {
			if present.Moves(key, l.Before, l.After) {
				changed++
				break
			}
		}
		if row.Flips {
			flips++
		}
		if i >= mostReviewRows && !row.Flips {
			continue
		}
		campaign := l.CampaignNames()
		if n := len(s.Groups); n == 0 || s.Groups[n-1].Campaign != campaign || lab.Fold(s.Groups[n-1].Specimen) != lab.Fold(l.Shot.Shot.Specimen) {
			s.Groups = append(s.Groups, page.ReviewGroup{Campaign: campaign, Specimen: l.Shot.Shot.Specimen})
		}
		g := &s.Groups[len(s.Groups)-1]
		g.Rows = append(g.Rows, row)
	}
	if len(lines) > mostReviewRows {
		s.Cut = fmt.Sprintf("The first %s of %s strokes are shown, and all whose verdict changes. The table as CSV has all once the review is recorded.", page.ShowCount(mostReviewRows), page.ShowCount(int64(len(lines))))
	}
	count := func(name string, n int, level page.Level) {
		if n == 0 {
			level = page.Plain
		}
		s.Counts = append(s.Counts, page.ReviewCount{Name: name, Count: page.ShowCount(int64(n)), Level: level})
	}
	count("shots and dry strokes with this sensor in between", len(lines), page.Plain)
	count("results recalculated", scored, page.Plain)
	if s.Progress != nil && r.row == nil { // a count of none would read as an answer
		for _, name := range []string{"results that change", "verdicts that change"} {
			s.Counts = append(s.Counts, page.ReviewCount{Name: name + ": still computing", Count: "–", Level: page.Plain})
		}
	} else {
		count("results that change", changed, page.Warn)
		count("verdicts that change", flips, page.Bad)
	}
	flipsFirst(s.Groups)
	if r.row != nil && r.row.Withdrawn == nil {
		count("results still to be recalculated", left, page.Warn)
	}
	return left
}

// flipsFirst puts the strokes whose verdict changes at the head of their
// specimen, and the specimens that have such before the others.
func flipsFirst(groups []page.ReviewGroup) {
	rank := func(flips bool) int {
		if flips {
			return 0
		}
		return 1
	}
	for _, g := range groups {
		slices.SortStableFunc(g.Rows, func(a, b page.ReviewRow) int { return cmp.Compare(rank(a.Flips), rank(b.Flips)) })
	}
	has := func(g page.ReviewGroup) int { return rank(len(g.Rows) > 0 && g.Rows[0].Flips) }
	slices.SortStableFunc(groups, func(a, b page.ReviewGroup) int { return cmp.Compare(has(a), has(b)) })
}

// moved lists the results that another sensitivity changes in any stroke.
func moved(lines []present.Reviewed) (out []string) {
	for _, key := range present.ReviewColumns() {
		for i := range lines {
			if present.Moves(key, lines[i].Before, lines[i].After) {
				out = append(out, key)
				break
			}
		}
	}
	return out
}

// columnHead names a result with the unit that it is shown in.
func columnHead(key string, lines []present.Reviewed) string {
	for i := range lines {
		if p := present.Pairs(key, lines[i].Before, lines[i].After); p.Before.Unit != "" {
			return page.MetricName(key) + ", " + p.Before.Unit
		}
	}
	return page.MetricName(key)
}

package present

import (
	"fmt"
	"math"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Service says in words how an item stands against its service interval.
func Service(u *view.Usage) page.Status {
	switch left := u.Left(); {
	case u.Interval == 0:
		return page.Status{Level: page.Plain, Word: "no interval set"}
	case left <= 0:
		if left == 0 {
			return page.Status{Level: page.Bad, Word: "service due now"}
		}
		return page.Status{Level: page.Bad, Word: "overdue by " + Count(-left, "stroke", "strokes")}
	case u.Near():
		return page.Status{Level: page.Warn, Word: "due in " + Count(left, "stroke", "strokes")}
	default:
		return page.Status{Level: page.OK, Word: "due in " + Count(left, "stroke", "strokes")}
	}
}

// Calibration says in words how an item stands against its due date.
func Calibration(c *view.CalibrationState) page.Status {
	switch c.State {
	case view.NeverCalibrated:
		return page.Status{Level: page.Bad, Word: "no calibration recorded"}
	case view.Overdue:
		whole := -c.Days - 1 // Days is rounded down
		if whole < 1 {
			return page.Status{Level: page.Bad, Word: "overdue since less than a day"}
		}
		return page.Status{Level: page.Bad, Word: "overdue by " + Count(whole, "day", "days")}
	case view.DueSoon:
		if c.Days == 0 {
			return page.Status{Level: page.Warn, Word: "due today"}
		}
		return page.Status{Level: page.Warn, Word: "due in " + Count(c.Days, "day", "days")}
	case view.InCalibration:
		return page.Status{Level: page.OK, Word: "in calibration"}
	default:
		return page.Status{Level: page.Plain, Word: "not required"}
	}
}

// uncertified says of an item that measures, and that the register does not ask a
// calibration of, that nothing is known of its calibration either.
func uncertified() page.Status {
	return page.Status{Level: page.Warn, Word: "no certificate on record"}
}

// Uncertified says whether an item that was looked at measures and has no
// certificate, although the register does not ask for one; and how to show that.
func (l *Looked) Uncertified(class string) (page.Status, bool) {
	return uncertified(), l.Calibration.State == view.NotRequired && lab.Calibrated(class)
}

// ServiceDue says in words how an item stands against its service plan.
func ServiceDue(s *view.ServiceDue, zone *time.Location) page.Status {
	switch {
	case !s.Planned() && (s.Plan.AfterCheck || s.Plan.AfterDrift):
		return page.Status{Level: page.OK, Word: "no interval set; due after what is seen at the rig"}
	case !s.Planned():
		return page.Status{Level: page.Plain, Word: "no interval set"}
	case s.Due() && s.Left() == 0:
		return page.Status{Level: page.Bad, Word: "due now"}
	case s.Due():
		return page.Status{Level: page.Bad, Word: "overdue by " + Count(-s.Left(), "stroke", "strokes")}
	case s.IsDue():
		return page.Status{Level: page.Bad, Word: "overdue since " + DayOf(s.DueAt, zone)}
	}
	level := page.OK
	if s.IsNear() {
		level = page.Warn
	}
	if s.Interval == 0 {
		return page.Status{Level: level, Word: "due in " + daysLeft(s.DaysLeft) + ", on " + DayOf(s.DueAt, zone)}
	}
	word := "due in " + Count(s.Left(), "stroke", "strokes")
	if s.DueAt != 0 {
		word += " or " + daysLeft(s.DaysLeft)
	}
	if s.About != 0 {
		word += ", about " + DayOf(s.About, zone)
		if r := RangeOf(s, zone); r != "" {
			word += " (" + r + ")"
		}
	} else if s.WhyNot != "" {
		word += "; " + s.WhyNot
	}
	return page.Status{Level: level, Word: word}
}

func daysLeft(n int64) string {
	if n == 0 {
		return "less than a day"
	}
	return Count(n, "day", "days")
}

// RangeOf is the interval of a forecast in words, "" when it is one day.
func RangeOf(s *view.ServiceDue, zone *time.Location) string {
	a, b := DayOf(s.Early, zone), DayOf(s.Late, zone)
	if s.Early == 0 || a == b {
		return ""
	}
	return a + " to " + b
}

// DayOf is the date of an instant in a zone.
func DayOf(t lab.Time, zone *time.Location) string { return t.Time().In(zone).Format(time.DateOnly) }

// CauseWords says what was seen that makes an item due, and what to do.
func CauseWords(c *upkeep.Cause, zone *time.Location) (page.Status, string) {
	at := c.At.Time().In(zone).Format("2006-01-02 15:04")
	if c.Code == upkeep.FailedCheck {
		return page.Status{Level: page.Bad, Word: "service due: a system check failed"}, "Check of " + at + ": " + c.Text + ". It is due until a service after that is recorded."
	}
	way := "faster"
	if c.OffMS < 0 {
		way = "slower"
	}
	return page.Status{Level: page.Bad, Word: "service due: the speed at a given pressure has drifted"},
		fmt.Sprintf("Since the stroke of %s a control chart is beyond its limits: %s by about %.2f m/s against the first strokes since the ram’s service. It is due until a service after that is recorded.", at, way, math.Abs(c.OffMS))
}

// PlanWords says a plan in words.
func PlanWords(p *lab.ServicePlan) string {
	var every, out []string
	if p.EveryStrokes > 0 {
		every = append(every, Count(p.EveryStrokes, "stroke", "strokes"))
	}
	if p.EveryDays > 0 {
		every = append(every, Count(p.EveryDays, "day", "days"))
	}
	if len(every) > 0 {
		out = append(out, "every "+strings.Join(every, " or "))
	}
	if p.AfterCheck {
		out = append(out, "after a system check that failed")
	}
	if p.AfterDrift {
		out = append(out, "after the speed has drifted")
	}
	if len(out) == 0 {
		return "no plan"
	}
	return strings.Join(out, ", ")
}

// PlanOf says which plan holds for an item, and whose it is.
func PlanOf(h *view.HeldPlan) string {
	switch {
	case h.ByClass != nil:
		return "Plan of every " + h.ByClass.Plan.Class + ": " + PlanWords(&h.ServicePlan) + "."
	case h.Empty():
		return "No service plan holds for it."
	}
	return "Plan of its own: " + PlanWords(&h.ServicePlan) + "."
}

// PlanReason says what the state of a service plan rests on.
func PlanReason(u *view.ServiceDue, zone *time.Location) string {
	text := ""
	if u.Interval > 0 {
		text = fmt.Sprintf("%s since the last service, every %s.", Count(u.StrokesSinceService, "stroke", "strokes"), page.ShowCount(u.Interval))
	}
	if n := u.Plan.EveryDays; n > 0 {
		if text != "" {
			text += " "
		}
		text += "Every " + Count(n, "day", "days") + ", counted from " + DayOf(u.From, zone) + "."
	}
	if text != "" && u.Plan.ByClass != nil {
		text += " This is the plan of every " + u.Plan.ByClass.Plan.Class + "."
	}
	return text
}

package present

import (
	"cmp"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// ReadParts reads a list of parts, one a line: quantity; name; number. Faults
// name the line.
func ReadParts(f *httpkit.Filled, field string) (out []lab.Part) {
	n := 0
	for line := range strings.Lines(f.Values[field]) {
		n++
		cells := strings.Split(line, ";")
		for i := range cells {
			cells[i] = strings.Join(strings.Fields(cells[i]), " ")
		}
		if strings.Join(cells, "") == "" {
			continue
		}
		if len(cells) < 2 || len(cells) > 3 {
			f.Fault(field, "Line %d, “%s”: write quantity; name; number, as 2; piston seal; PS-14.", n, strings.TrimSpace(line))
			continue
		}
		q, err := strconv.ParseInt(cells[0], 10, 64)
		if err != nil || q <= 0 {
			f.Fault(field, "Line %d: “%s” is no quantity. Give a whole number of pieces above 0, or leave the line out.", n, cells[0])
			continue
		}
		p := lab.Part{Quantity: q, Name: cells[1]}
		if p.Name == "" {
			f.Fault(field, "Line %d: the part has no name.", n)
			continue
		}
		if len(cells) == 3 {
			p.Number = cells[2]
		}
		out = append(out, p)
	}
	return out
}

// PartsText is a list of parts as ReadParts reads it.
func PartsText(all []lab.Part) string {
	var b strings.Builder
	for _, p := range all {
		b.WriteString(strconv.FormatInt(p.Quantity, 10) + "; " + p.Name)
		if p.Number != "" {
			b.WriteString("; " + p.Number)
		}
		b.WriteString("\n")
	}
	return b.String()
}

// Parts shows a list of parts.
func Parts(all []lab.Part) (out []page.OrderPart) {
	for _, p := range all {
		out = append(out, page.OrderPart{Quantity: page.ShowCount(p.Quantity), Name: p.Name, Number: p.Number})
	}
	return out
}

// NotDueBy answers an order that names a cause which is not seen.
const NotDueBy = "The item is not due by this any more, or never was. Open the order by hand if the work is wanted all the same."

// WhyOrder says what a work order is opened from, as things stand, with the
// stroke that shows it; "" when it is not so.
func WhyOrder(u *upkeep.Due, cause string, zone *time.Location) (why string, shot *uuid.UUID) {
	if cause == lab.OrderByPlan && u.Planned() {
		state := ServiceDue(&u.ServiceDue, zone)
		return "Service " + state.Word + ". " + PlanReason(&u.ServiceDue, zone), nil
	}
	for i := range u.Causes {
		if u.Causes[i].Code == cause {
			_, why := CauseWords(&u.Causes[i], zone)
			return why, &u.Causes[i].Shot
		}
	}
	return "", nil
}

// OrderWord says how far a work order is.
func OrderWord(o *view.WorkOrderRow, zone *time.Location) page.Status {
	switch o.State {
	case view.OrderDone:
		if o.ClosedTwice() {
			return page.Status{Level: page.Warn, Word: "done on " + DayOf(o.Service.Service.EffectiveAt, zone) + ", closed twice"}
		}
		return page.Status{Level: page.OK, Word: "done on " + DayOf(o.Service.Service.EffectiveAt, zone)}
	case view.OrderCancelled:
		return page.Status{Level: page.Plain, Word: "cancelled"}
	}
	return page.Status{Level: page.Warn, Word: "open since " + DayOf(o.Order.EffectiveAt, zone)}
}

// CauseOfOrder says what a work order was opened from.
func CauseOfOrder(cause string) string {
	return cmp.Or(map[string]string{lab.OrderByHand: "opened by hand", lab.OrderByPlan: "opened from the service plan",
		lab.OrderFailedCheck: "opened after a system check that failed", lab.OrderSpeedDrift: "opened after a drift of the speed"}[cause], cause)
}

// Done shows a service as what was done.
func Done(s *view.ServiceRow, who func(string) string, zone *time.Location) *page.OrderDone {
	b := &s.Service
	d := &page.OrderDone{At: b.EffectiveAt.Time().In(zone), What: b.Note, Parts: Parts(b.Used), By: b.DoneBy, Written: who(s.Author)}
	for _, p := range b.Parts {
		d.Parts = append(d.Parts, page.OrderPart{Name: p})
	}
	d.Duration = Minutes(b.DurationMinutes)
	if b.CounterStrokes != nil {
		d.Counter = page.ShowCount(*b.CounterStrokes)
	}
	return d
}

// Minutes shows a duration, "" when it is not known.
func Minutes(m *float64) string {
	if m == nil {
		return ""
	}
	return withUnit(page.ShowWhole(*m, "min"))
}

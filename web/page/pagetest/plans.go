package pagetest

import (
	"fmt"

	"thudbook/web/page"
)

func plans() []Item {
	form := page.Form{ID: "classplan", Action: page.PostClassPlan, Fields: page.ClassPlanFields(), Submit: "Set the plan", Key: "plan-key",
		Choices: map[string][]page.Choice{"lab": labChoices(), "class": {{Value: "ram", Text: "ram"}, {Value: "neck", Text: "neck"}}}, Values: map[string]string{"lab": "l1"}}
	p := page.Plans{Frame: serverFrame("Service plans", page.PathEquipment), Labs: labChoices(), MayEdit: true, Form: form,
		Rows: []page.PlanRow{
			{Lab: "Northmere lab", Class: "ram", Plan: "every 1\u202f000 strokes or 180 days, after the speed has drifted", Items: "2", Href: "/equipment/plans?lab=l1&class=ram#set"},
			{Lab: "Northmere lab", Class: "neck", Plan: "every 500 strokes, after a system check that failed", Items: "3", Href: "/equipment/plans?lab=l1&class=neck#set",
				Unsettled: "every strokes was set to 400 and to 500 without sight of each other: set it again."},
			{Lab: "Harbour lab", Class: "hose", Plan: "every 365 days", Items: "6"},
		},
		Own: []page.OwnPlanRow{{Lab: "Harbour lab", Item: "ram two, R-1002", Class: "ram", Plan: "every 800 strokes", Href: "/equipment/use/r2"},
			{Lab: "Northmere lab", Item: "neck of the archive, N-9", Class: "neck", Plan: "no plan", Href: "/equipment/use/n9"}}}
	empty, wrong, full := p, p, p
	empty.Rows, empty.Own, empty.MayEdit = nil, nil, false
	wrong.Form.Values = map[string]string{"lab": "l1", "class": "ram", "every_days": "40000"}
	wrong.Form.Errors = map[string]string{"every_days": "40000 days is more than a hundred years. Give the interval in days."}
	full.Rows, full.Own = nil, nil
	for i := range 120 {
		r, o := p.Rows[i%3], p.Own[i%2]
		r.Class = fmt.Sprintf("%s of a kind that somebody gave a name much too long, number %d", r.Class, i)
		o.Item = fmt.Sprintf("%s and its long name %d", o.Item, i)
		full.Rows, full.Own = append(full.Rows, r), append(full.Own, o)
	}
	return []Item{{"plans", p}, {"plans-empty", empty}, {"plans-error", wrong}, {"plans-full", full}}
}

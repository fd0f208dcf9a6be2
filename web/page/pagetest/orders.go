package pagetest

import (
	"fmt"
	"strings"
	"time"

	"thudbook/web/page"
)

func workOrders() []Item {
	warn := page.Status{Level: page.Warn, Word: "open since 2031-03-12"}
	states := []page.Choice{{Value: "open", Text: "open"}, {Value: "done", Text: "done"}, {Value: "cancelled", Text: "cancelled"}, {Value: "all", Text: "all"}}
	l := page.Orders{Frame: serverFrame("Work orders", page.PathEquipment), Labs: labChoices(), States: states, State: "all", MayEdit: true, Rows: []page.WorkOrderRow{
		{ID: "o1", Lab: "Northmere lab", Item: "ram one, R-1001", Kind: "ram", What: "Change the piston seals, look at the bore.", AssignedTo: "workshop", State: warn, Why: "opened after a drift of the speed"},
		{ID: "o2", Lab: "Hillside lab", Item: "light gate, L-3", Kind: "light gate", What: "Clean and align.", State: warn, Why: "opened after a system check that failed"},
		{ID: "o3", Lab: "Northmere lab", Item: "hose, H-3", Kind: "hose", What: "Exchange.", AssignedTo: "workshop", State: page.Status{Level: page.OK, Word: "done on 2031-02-02"}, Why: "opened from the service plan"},
		{ID: "o4", Lab: "Harbour lab", Item: "neck, N-2", Kind: "neck", What: "Service.", State: page.Status{Level: page.Plain, Word: "cancelled"}, Why: "opened by hand"}}}
	empty, lots := l, l
	empty.Rows, empty.State = nil, "open"
	lots.Rows = nil
	for i := range 150 {
		r := l.Rows[i%4]
		r.Item, r.What = fmt.Sprintf("%s %d", r.Item, i), r.What+strings.Repeat(" And then some more of it.", i%7)
		lots.Rows = append(lots.Rows, r)
	}
	fresh := page.Form{ID: "order", Action: page.PostWorkOrder, Fields: page.NewOrderFields(), Submit: "Open the work order", Key: "order-key",
		Choices: map[string][]page.Choice{"item": {{Value: "r1", Text: "ram one, R-1001"}, {Value: "l3", Text: "light gate, L-3"}}},
		Values:  map[string]string{"item": "l3", "cause": "failed_check", "reason": "Check of 2031-03-13 08:02: peak linear acceleration 120 g, above the limit of 110 g.", "what": "Service."}}
	n := page.NewOrder{Frame: serverFrame("New work order", page.PathEquipment), Form: fresh}
	wrong := n
	wrong.Form.Values = map[string]string{"item": "l3", "cause": "by_hand", "what": "Clean.", "parts": "0; filter; F-2"}
	wrong.Form.Errors = map[string]string{"parts": "Line 1: “0” is no quantity. Give a whole number of pieces above 0, or leave the line out.",
		"item": "It has an open work order of 2031-03-12 already: Clean and align. Add to that one; if this is another job, confirm it."}
	out := []Item{{"orders", l}, {"orders-empty", empty}, {"orders-full", lots}, {"new-order", n}, {"new-order-error", wrong}}
	return append(out, oneOrder(warn)...)
}

func oneOrder(warn page.Status) []Item {
	form := func(what string, fields []page.Field, submit string, values map[string]string) *page.Form {
		return &page.Form{ID: what, Action: "/equipment/orders/o1/" + what, Fields: fields, Submit: submit, Key: what + "-key", Values: values}
	}
	parts := []page.OrderPart{{Quantity: "2", Name: "piston seal", Number: "PS-14"}, {Quantity: "1", Name: "guide ring"}}
	o := page.Order{Frame: serverFrame("Work order 9F3A21", page.PathEquipment), ID: "o1", Number: "9F3A21", Lab: "Northmere lab", Item: "ram one, R-1001", Kind: "ram", ItemHref: "/equipment/use/r1", Serial: "R-1001", Asset: "A-0031",
		Where: "rig one, ram", State: warn, Opened: ago(50 * time.Hour), OpenedBy: "R. Example", Cause: "opened after a drift of the speed", Reason: "Since the stroke of 2031-03-12 10:41 a control chart is beyond its limits: slower by about 0.12 m/s.", Evidence: "/shots/x",
		What: "Change the piston seals, look at the bore.", Parts: parts, AssignedTo: "workshop", Planned: "90\u00a0min", Strokes: "860", Due: page.Status{Level: page.Warn, Word: "due in 140 strokes"},
		Close:  form("close", page.CloseFields(), "The work is done: record the service", map[string]string{"note": "Change the piston seals, look at the bore.", "used": "2; piston seal; PS-14\n1; guide ring\n", "done_by": "workshop", "effective_at": "2031-03-14T15:09:26"}),
		Change: form("change", page.OrderFields(), "Change the order", map[string]string{"what": "Change the piston seals, look at the bore.", "parts": "2; piston seal; PS-14\n1; guide ring\n", "assigned_to": "workshop", "planned_minutes": "90"}),
		Cancel: form("cancel", page.ReasonFields(), "Cancel the order", nil)}
	done, bare, wrong, long, cancelled := o, o, o, o, o
	done.State, done.Close, done.Change, done.Cancel, done.Undo = page.Status{Level: page.OK, Word: "done on 2031-03-14"}, nil, nil, nil, form("undo", page.ReasonFields(), "Withdraw the service", nil)
	one := page.OrderDone{At: ago(3 * time.Hour), What: "Seals changed; the bore has a score at 40 mm, polished.", Parts: parts, Duration: "75\u00a0min", By: "workshop", Written: "R. Example", Counter: page.ShowCount(14_231)}
	done.Done, done.Further = &one, []page.OrderDone{{At: ago(2 * time.Hour), What: "Seals changed.", Written: "T. Sample"}}
	done.State, done.Once = page.Status{Level: page.Warn, Word: "done on 2031-03-13, closed twice"}, form("once", page.ReasonFields(), "Withdraw all but the first", map[string]string{"reason": "the same work was recorded at two places"})
	done.Due = page.Status{Level: page.OK, Word: "due in 1\u202f000 strokes"}
	bare.Parts, bare.AssignedTo, bare.Planned, bare.Reason, bare.Evidence, bare.Where, bare.Asset, bare.Cause, bare.Close, bare.Change, bare.Cancel = nil, "", "", "", "", "", "", "opened by hand", nil, nil, nil
	wrong.Close = form("close", page.CloseFields(), "The work is done: record the service", map[string]string{"effective_at": "2031-03-14T15:00:00", "note": "Seals.", "counter_strokes": "900"})
	wrong.Close.Errors = map[string]string{"counter_strokes": "At the service of 2031-01-03 the counter showed 13370 strokes; 900 are fewer. Check the reading and the date. A counter that was exchanged is a correction of the counter."}
	wrong.Since, wrong.Unsettled = &one, "assigned to"
	long.What, long.Parts = strings.Repeat("Look at everything, and at what is behind it. ", 40), nil
	for i := range 50 {
		long.Parts = append(long.Parts, page.OrderPart{Quantity: fmt.Sprint(i + 1), Name: fmt.Sprintf("part of a name that is much too long for any label, kind %d", i), Number: fmt.Sprintf("NUMBER-%012d", i*7919)})
	}
	cancelled.State, cancelled.CancelledFor, cancelled.CancelledBy, cancelled.Close, cancelled.Change, cancelled.Cancel = page.Status{Word: "cancelled"}, "The ram goes to the maker.", "R. Example", nil, nil, nil
	cancelled.Reopen = form("reopen", page.ReasonFields(), "Open it again", nil)
	sheet := func(o page.Order) page.OrderSheet { return page.OrderSheet{Order: o, Steps: page.WorkSteps()} }
	return []Item{{"order", o}, {"order-empty", bare}, {"order-done", done}, {"order-error", wrong}, {"order-cancelled", cancelled}, {"order-full", long},
		{"order-sheet", sheet(o)}, {"order-sheet-empty", sheet(bare)}, {"order-sheet-full", sheet(long)}}
}

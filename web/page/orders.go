package page

import (
	"net/url"
	"time"
)

// Paths of the work orders.
const (
	PathOrders    = "/equipment/orders"
	PathNewOrder  = "/equipment/orders/new"
	PostWorkOrder = "/equipment/orders"
)

// OrderPath is the screen of one work order.
func OrderPath(id string) string { return PathOrders + "/" + url.PathEscape(id) }

// OrderSheetPath is a work order for printing.
func OrderSheetPath(id string) string { return OrderPath(id) + "/sheet" }

// NewOrderPath opens a work order for an item, from what makes it due.
func NewOrderPath(item, cause string) string {
	return PathNewOrder + "?" + url.Values{"item": {item}, "cause": {cause}}.Encode()
}

// Orders lists work orders, newest first.
type Orders struct {
	Frame
	Lab, State string // as filtered
	Labs       []Choice
	States     []Choice
	Rows       []WorkOrderRow
	MayEdit    bool
}

func (Orders) screen() string { return "orders" }

// WorkOrderRow is one work order.
type WorkOrderRow struct {
	ID, Lab, Item, Kind string
	What                string
	Opened              time.Time
	AssignedTo          string
	State               Status
	Why                 string
}

// NewOrder opens a work order.
type NewOrder struct {
	Frame
	Form Form // NewOrderFields
}

func (NewOrder) screen() string { return "new-order" }

// Order is one work order.
type Order struct {
	Frame
	ID, Number      string
	Lab, Item, Kind string
	ItemHref        string
	Serial, Asset   string
	Where           string
	State           Status
	Opened          time.Time
	OpenedBy        string
	Cause           string // in words
	Reason          string
	Evidence        string // address of the stroke that shows the cause
	What            string
	Parts           []OrderPart
	AssignedTo      string
	Planned         string // duration, with unit
	Strokes         string // since the last service, now
	Due             Status // of the item's service, now
	Done            *OrderDone
	Further         []OrderDone // services that name it too: closed twice
	Since           *OrderDone  // a service without the order, after it was opened
	CancelledFor    string
	CancelledBy     string
	Unsettled       string
	Change, Close   *Form // nil: not offered
	Cancel, Reopen  *Form
	Undo, Once      *Form
}

func (Order) screen() string { return "order" }

// OrderPart is one line of a list of parts.
type OrderPart struct {
	Quantity     string
	Name, Number string
}

// OrderDone is the service that carried an order out.
type OrderDone struct {
	At       time.Time
	What     string
	Parts    []OrderPart
	Duration string
	By       string // who did it
	Written  string // who wrote it down
	Counter  string
}

// OrderSheet is a work order on paper, to be filled in by hand.
type OrderSheet struct {
	Order
	Steps []string // before and after the work
}

func (OrderSheet) screen() string { return "order-sheet" }

// partsField asks for parts.
func partsField(name, label string) Field {
	return Field{Name: name, Label: label, Kind: "area", Help: "One a line: quantity; name; number. As 2; piston seal; PS-14. The number may be left out."}
}

// NewOrderFields opens a work order. Choices: "item".
func NewOrderFields() []Field {
	return append(append([]Field{
		{Name: "item", Label: "Item", Kind: "select", Required: true},
		{Name: "cause", Label: "Opened from", Kind: "select", Required: true, Options: []Choice{
			{"by_hand", "by hand"}, {"plan", "the service plan"}, {"failed_check", "a system check that failed"}, {"speed_drift", "a drift of the speed"}}},
		{Name: "reason", Label: "Why", Kind: "area"},
	}, OrderFields()...), confirmField())
}

// OrderFields changes an open work order.
func OrderFields() []Field {
	return []Field{
		{Name: "what", Label: "What is to be done", Kind: "area", Required: true},
		partsField("parts", "Parts"),
		{Name: "assigned_to", Label: "Assigned to", Kind: "text", Help: "A person, initials or a firm."},
		{Name: "planned_minutes", Label: "Planned duration", Unit: "min", Kind: "number"},
	}
}

// CloseFields says that a work order was carried out, which is the service.
func CloseFields() []Field {
	return []Field{
		{Name: "effective_at", Label: "Done at", Kind: "datetime-local", Required: true, Help: "Strokes and days are counted from it."},
		{Name: "note", Label: "What was done", Kind: "area", Required: true},
		partsField("used", "Parts that were changed"),
		{Name: "counter_strokes", Label: "Machine's own counter", Unit: "strokes", Kind: "number", Help: "If it has one."},
		{Name: "duration_minutes", Label: "Duration", Unit: "min", Kind: "number"},
		{Name: "done_by", Label: "Done by", Kind: "text", Help: "A person, initials or a firm."},
	}
}

// WorkSteps are the usual cautions around work on a pneumatic ram, in order.
// Common practice, no published source; local rules go first.
func WorkSteps() []string {
	return []string{
		"Everybody who works at the rig knows that it is out of use, and why.",
		"Supply of air shut and locked out, with a tag and the name of who holds the key.",
		"Electric supply of the controller off and locked out.",
		"Tank and lines vented to zero; the gauge reads zero, and a valve opened to the air stays silent.",
		"Ram blocked, so that it cannot move when a seal or a line is opened.",
		"Tried: the controls are operated, and nothing moves.",
		"After the work: tools and rags counted, guards on, nobody near; lock and tag taken off by who put them on.",
		"Pressure brought up in steps, joints checked for leaks, dry strokes at low pressure first.",
	}
}

package lab

import (
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// Work on an item: what is to be done, and that it will not be.
const (
	KindWorkOrder        record.Kind = "work.order"
	KindOrderCancelled   record.Kind = "work.cancelled"
	WorkOrderSchema      uint        = 1
	OrderCancelledSchema uint        = 1
)

// What a work order was opened from.
const (
	OrderByHand      = "by_hand"
	OrderByPlan      = "plan"         // strokes or days are used up, or nearly
	OrderFailedCheck = "failed_check" // a system check at its rig failed
	OrderSpeedDrift  = "speed_drift"  // the speed at a given pressure drifted
)

// OrderCauses lists them.
func OrderCauses() []string {
	return []string{OrderByHand, OrderByPlan, OrderFailedCheck, OrderSpeedDrift}
}

// Part is a spare part.
type Part struct {
	Name     string `json:"name"`
	Number   string `json:"number,omitempty"` // the maker's or the lab's own
	Quantity int64  `json:"quantity"`         // pieces, > 0
}

// String gives the part as one line.
func (p Part) String() string {
	s := fmt.Sprintf("%d × %s", p.Quantity, p.Name)
	if p.Number != "" {
		s += ", no. " + p.Number
	}
	return s
}

// WorkOrder says what is to be done on an item, and why. That it was done is
// said by the service that names it, and by nothing else, so that the two cannot
// disagree; that it will not be done, by OrderCancelled.
type WorkOrder struct {
	Item           uuid.UUID  `json:"item"`
	EffectiveAt    Time       `json:"effective_at"` // when it was opened
	Cause          string     `json:"cause"`
	Reason         string     `json:"reason,omitempty"` // in words, as it was when the order was opened
	Shot           *uuid.UUID `json:"shot,omitempty"`   // the stroke that shows the cause
	What           string     `json:"what"`
	Parts          []Part     `json:"parts,omitempty"` // to be at hand
	AssignedTo     string     `json:"assigned_to,omitempty"`
	PlannedMinutes *float64   `json:"planned_minutes,omitempty"`
}

// RecordKind is KindWorkOrder.
func (*WorkOrder) RecordKind() record.Kind { return KindWorkOrder }

// SchemaVersion is WorkOrderSchema.
func (*WorkOrder) SchemaVersion() uint { return WorkOrderSchema }

// maxMinutes bounds a duration: two years.
const maxMinutes = 1e6

// Validate gives all faults at once.
func (o *WorkOrder) Validate() error {
	c := &checks{what: KindWorkOrder}
	c.id("item", o.Item)
	c.when("effective_at", o.EffectiveAt)
	c.oneOf("cause", o.Cause, OrderCauses()...)
	c.text("reason", o.Reason, MaxNote)
	c.needText("what", o.What, MaxNote)
	c.spares("parts", o.Parts)
	c.text("assigned_to", o.AssignedTo, MaxText)
	c.number("planned_minutes", o.PlannedMinutes, 0, maxMinutes)
	return c.err()
}

// maxPieces bounds the quantity of a part.
const maxPieces = 100_000

// spares checks a list of parts.
func (c *checks) spares(field string, parts []Part) {
	if n := len(parts); n > MaxParts {
		c.add(field, fmt.Sprintf("%d parts, the most is %d", n, MaxParts), "divide the entry")
	}
	for i := range parts {
		p := &parts[i]
		at := fmt.Sprintf("%s, line %d", field, i+1)
		c.needText(at, p.Name, MaxText)
		c.text(at, p.Number, MaxText)
		if p.Quantity <= 0 || p.Quantity > maxPieces {
			c.add(at, fmt.Sprintf("%d pieces of %s", p.Quantity, p.Name), fmt.Sprintf("give a quantity between 1 and %d, or leave the part out", maxPieces))
		}
	}
}

// OrderCancelled says that an order will not be carried out, or with Lifted
// that it will be after all. The newest by clock holds; an order that a service
// names is done, whatever was said here.
type OrderCancelled struct {
	Order  uuid.UUID `json:"order"`
	Reason string    `json:"reason"`
	Lifted bool      `json:"lifted,omitempty"`
}

// RecordKind is KindOrderCancelled.
func (*OrderCancelled) RecordKind() record.Kind { return KindOrderCancelled }

// SchemaVersion is OrderCancelledSchema.
func (*OrderCancelled) SchemaVersion() uint { return OrderCancelledSchema }

// Validate gives all faults at once.
func (o *OrderCancelled) Validate() error {
	c := &checks{what: KindOrderCancelled}
	c.id("order", o.Order)
	c.needText("reason", o.Reason, MaxNote)
	return c.err()
}

package lab

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// WentOn says that an operator goes on although something at the rig is overdue,
// missing or out of order. It holds from EffectiveAt until Until, or until what
// is mounted at the rig changes; the shots fired meanwhile carry a flag.
type WentOn struct {
	Rig  uuid.UUID `json:"rig"`
	What []string  `json:"what"` // each as the operator saw it, "sensor S-1: calibration overdue by 3 days"
	// Of says of each of What what ends it: the mending of an item. Empty in
	// records of older programs; an entry without an item ends with the rest.
	Of          []Lacked `json:"of,omitempty"`
	Reason      string   `json:"reason"`
	EffectiveAt Time     `json:"effective_at"`
	Until       Time     `json:"until"` // at most MostWentOn later
}

// Lacked is what an item lacked when an operator went on.
type Lacked struct {
	Item uuid.UUID   `json:"item,omitzero"`
	Ends record.Kind `json:"ends,omitempty"` // kind of fact about the item that ends it: KindCalibration, KindService
}

// MostWentOn is the longest time for which one reason holds: a day, and an hour
// where summer time ends.
const MostWentOn = 25 * time.Hour

// RecordKind is KindWentOn.
func (*WentOn) RecordKind() record.Kind { return KindWentOn }

// SchemaVersion is WentOnSchema.
func (*WentOn) SchemaVersion() uint { return WentOnSchema }

// Validate gives all faults at once.
func (w *WentOn) Validate() error {
	c := &checks{what: KindWentOn}
	c.id("rig", w.Rig)
	if n := len(w.What); n == 0 || n > MaxParts {
		c.add("what", fmt.Sprintf("%d things, of 1 to %d", n, MaxParts), "name what is overdue, missing or out of order")
	}
	for _, s := range w.What {
		c.needText("what", s, 2*MaxText)
	}
	if n := len(w.Of); n > 0 && n != len(w.What) {
		c.add("of", fmt.Sprintf("%d items for %d things", n, len(w.What)), "give one for each thing, or none")
	}
	c.needText("reason", w.Reason, MaxNote)
	c.when("effective_at", w.EffectiveAt)
	c.when("until", w.Until)
	if w.Until <= w.EffectiveAt || w.Until > w.EffectiveAt.Add(MostWentOn) {
		c.add("until", "the reason holds for no time, or for more than a day", "let it end with the day")
	}
	return c.err()
}

package lab

import (
	"crypto/sha256"
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// KindServicePlan is the service plan of a class of equipment.
const (
	KindServicePlan record.Kind = "service.plan"

	ServicePlanSchema uint = 1
)

// ServicePlan says when the items of a class are serviced: every so many
// strokes, every so many days, whichever comes first, and after what is seen at
// the rig where they are mounted. An item with a plan of its own goes by that
// one. The envelope's UID is ServicePlanOf, so that a class has one plan; it is
// changed by edits of its fields.
type ServicePlan struct {
	Class        string `json:"class"`
	EveryStrokes int64  `json:"every_strokes,omitempty"` // 0: not by strokes
	EveryDays    int64  `json:"every_days,omitempty"`    // 0: not by time
	WarnStrokes  int64  `json:"warn_strokes,omitempty"`  // before it is due; 0: the last tenth
	WarnDays     int64  `json:"warn_days,omitempty"`
	AfterCheck   bool   `json:"after_failed_check,omitempty"` // a system check at the rig that failed
	AfterDrift   bool   `json:"after_speed_drift,omitempty"`  // the rig's speed at a given pressure has drifted
}

// ServicePlanOf is the id of the plan of a class in a lab.
func ServicePlanOf(of record.LabID, class string) uuid.UUID {
	return idOf("splan1", sha256.Sum256(append(of[:], Fold(class)...)))
}

// RecordKind is KindServicePlan.
func (*ServicePlan) RecordKind() record.Kind { return KindServicePlan }

// SchemaVersion is ServicePlanSchema.
func (*ServicePlan) SchemaVersion() uint { return ServicePlanSchema }

// Validate gives all faults at once.
func (p *ServicePlan) Validate() error {
	c := &checks{what: KindServicePlan}
	c.needText("class", p.Class, MaxText)
	c.count("every_strokes", p.EveryStrokes)
	c.count("every_days", p.EveryDays)
	c.count("warn_strokes", p.WarnStrokes)
	c.count("warn_days", p.WarnDays)
	c.interval("every_days", p.EveryDays)
	return c.err()
}

// Empty says that nothing makes an item due.
func (p *ServicePlan) Empty() bool {
	return p.EveryStrokes == 0 && p.EveryDays == 0 && !p.AfterCheck && !p.AfterDrift
}

// OwnPlan is the plan that the item has for itself; ok is false where it has
// none, and that of its class holds. NoServicePlan is an own plan that is empty.
func (i *Item) OwnPlan() (p ServicePlan, ok bool) {
	p = ServicePlan{Class: i.Class, WarnStrokes: i.WarnStrokes, WarnDays: i.WarnDays}
	if i.NoServicePlan {
		return p, true
	}
	p.EveryStrokes, p.EveryDays, p.AfterCheck, p.AfterDrift = i.ServiceEveryStrokes, i.ServiceEveryDays, i.ServiceAfterCheck, i.ServiceAfterDrift
	return p, !p.Empty()
}

// interval checks an interval in days.
func (c *checks) interval(field string, days int64) {
	if days > maxDays {
		c.add(field, fmt.Sprintf("%d days is more than a hundred years", days), "give the interval in days")
	}
}

package page

// Paths of the service plans of classes.
const (
	PathPlans     = "/equipment/plans"
	PostClassPlan = "/equipment/plans/class"
)

// Plans lists the service plans: those of classes, and the items that have one
// of their own.
type Plans struct {
	Frame
	Lab     string
	Labs    []Choice // to filter by
	Rows    []PlanRow
	Own     []OwnPlanRow
	MayEdit bool
	Form    Form // ClassPlanFields
}

func (Plans) screen() string { return "plans" }

// PlanRow is the plan of one class.
type PlanRow struct {
	Lab, Class string
	Plan       string // as "every 1 000 strokes or 90 days"
	Items      string // how many go by it
	Unsettled  string // what two people set without sight of each other; empty: nothing
	Href       string // to change it; empty: not allowed
}

// OwnPlanRow is an item with a plan of its own.
type OwnPlanRow struct{ Lab, Item, Class, Plan, Href string }

// ClassPlanFields sets the plan of a class. Choices: "lab", and classes as
// suggestions for "class".
func ClassPlanFields() []Field {
	return append([]Field{
		{Name: "lab", Label: "Lab", Kind: "select", Required: true},
		{Name: "class", Label: "For every", Kind: "list", Required: true, Help: "The kind, as in the register. Everything empty below: it has no plan any more."},
		{Name: "every_strokes", Label: "Service every", Unit: "strokes", Kind: "number", Help: "Empty: not by strokes."},
		{Name: "every_days", Label: "Service every", Unit: "days", Kind: "number", Help: "Empty: not by time. With both, whichever comes first."},
		{Name: "warn_strokes", Label: "Warn before", Unit: "strokes", Kind: "number", Help: "Empty: in the last tenth."},
		{Name: "warn_days", Label: "Warn before", Unit: "days", Kind: "number", Help: "Empty: in the last tenth."},
	}, conditionFields()...)
}

// conditionFields are the parts of a plan that go by what is seen.
func conditionFields() []Field {
	return []Field{
		{Name: "after_failed_check", Label: "After a system check that failed", Kind: "checkbox", Help: "At the rig where it sits."},
		{Name: "after_speed_drift", Label: "After the speed has drifted", Kind: "checkbox", Help: "When a control chart of speed at a given pressure, at the rig where it sits, is beyond its limits."},
	}
}

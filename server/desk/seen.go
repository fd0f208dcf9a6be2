package desk

import (
	"strings"

	"github.com/google/uuid"

	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/present"
)

// changedMeanwhile refuses a form that was opened before somebody else changed
// what it is about; where names the field, now says what holds.
func changedMeanwhile(where, now string) error {
	return &problem.Error{Code: problem.Conflict, Where: where, What: "Somebody else changed this while the page was open; nothing was saved. Now it is: " + now + ".",
		Fix: "Look at what holds now. What you typed is kept; save again if it is to replace it."}
}

// fieldsOfPlan are those of a class's plan, and of the plan that an item has.
var (
	fieldsOfClassPlan = []string{"every_strokes", "every_days", "warn_strokes", "warn_days", "after_failed_check", "after_speed_drift"}
	fieldsOfItemPlan  = []string{"service_every_strokes", "service_every_days", "warn_strokes", "warn_days", "service_after_failed_check", "service_after_speed_drift", "no_service_plan"}
)

// seenPlan names a class's plan as it stands.
func seenPlan(id uuid.UUID, h *view.Head) string {
	return id.String() + ":" + h.Seen(fieldsOfClassPlan...)
}

// stillPlan refuses a plan that was changed since the page with all plans was
// made: seen lists them as they stood, one that is not there was none.
func stillPlan(id uuid.UUID, seen string, sent bool, now string) register.Still {
	if !sent {
		return nil
	}
	return func(h *view.Head) error {
		had, held := "", ""
		for _, x := range strings.Fields(seen) {
			if strings.HasPrefix(x, id.String()+":") {
				had = x
			}
		}
		if h != nil {
			held = seenPlan(id, h)
		}
		if had == held {
			return nil
		}
		return changedMeanwhile("class", now)
	}
}

// fieldsOfWhen are where and when a campaign is to be fired, each with the field
// of the form that says so first.
var fieldsOfWhen = []struct {
	at     string
	fields []string
}{{"rig", []string{"rig"}}, {"starts_on", []string{"starts_at", "ends_at"}}}

func seenWhen(h *view.Head) string {
	var out []string
	for _, x := range fieldsOfWhen {
		out = append(out, h.Seen(x.fields...))
	}
	return strings.Join(out, " ")
}

// stillWhen refuses rig and days of a form that did not see what holds; now
// says what holds by the field of the form.
func stillWhen(seen string, now map[string]string) register.Still {
	if seen == "" {
		return nil
	}
	return func(h *view.Head) error {
		saw := append(strings.Fields(seen), "", "")
		for i, x := range fieldsOfWhen {
			if saw[i] != h.Seen(x.fields...) {
				return changedMeanwhile(x.at, now[x.at])
			}
		}
		return nil
	}
}

// ownPlanWords says the plan that an item has for itself.
func ownPlanWords(i *lab.Item) string {
	if i.NoServicePlan {
		return "no service plan holds for it"
	}
	own, ok := i.OwnPlan()
	if !ok {
		return "no plan of its own"
	}
	return present.PlanWords(&own)
}

// stillItemPlan refuses the plan of an item of a form that did not see what holds.
func stillItemPlan(seen, now string) register.Still {
	if seen == "" {
		return nil
	}
	return func(h *view.Head) error {
		if seen == h.Seen(fieldsOfItemPlan...) {
			return nil
		}
		return changedMeanwhile("service_every_strokes", now)
	}
}

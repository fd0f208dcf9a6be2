package present

import (
	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/web/page"
)

// Operator names who is recorded as operator of a shot: an id of a person on the
// list by name, anything else as it stands.
func Operator(recorded string, name func(string) string) string {
	if _, err := uuid.Parse(recorded); err != nil && recorded != lab.AuthorRig {
		return recorded
	}
	return Who(recorded, name)
}

// Fields beside a form that shows the name of an operator who is recorded by id.
const (
	operatorID    = "operator_id"
	operatorShown = "operator_shown"
)

// NameOperator has a form of AssignFields show the operator's name; KeptOperator
// turns the name that was left as it was into what is recorded again.
func NameOperator(f *page.Form, name func(string) string) {
	id := f.Values["operator"]
	shown := name(id)
	if id == "" || shown == id {
		return
	}
	if f.Hidden == nil {
		f.Hidden = map[string]string{}
	}
	f.Hidden[operatorID], f.Hidden[operatorShown], f.Values["operator"] = id, shown, shown
}

// KeptOperator gives the operator to record: the id where the name was not touched.
func KeptOperator(typed string, field func(string) string) string {
	if OperatorUntouched(typed, field) {
		return field(operatorID)
	}
	return typed
}

// OperatorUntouched says that the name which the form came with was left as it was.
func OperatorUntouched(typed string, field func(string) string) bool {
	return field(operatorID) != "" && typed == field(operatorShown)
}

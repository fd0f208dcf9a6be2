package httpkit

import (
	"testing"

	"thudbook/sync/problem"
)

// The name of a field that a form does not have is no place on its screen.
func TestPlaceOfOtherFaults(t *testing.T) {
	for where, want := range map[string]string{"work_order": "", "booking": "", "": "", "line 3, column 2": PlaceWords("line 3, column 2")} {
		f := &Filled{Errors: map[string]string{}}
		if _, ok := f.Take(&problem.Error{Code: problem.Conflict, Where: where, What: "It is done.", Fix: "Look at it."}); !ok || len(f.Other) != 1 || f.Other[0].Where != want {
			t.Errorf("%q: %+v, want the place %q", where, f.Other, want)
		}
	}
}

package main

import (
	"errors"
	"strings"
	"testing"
)

// Where no service manager answers, the bare status of a program is no help:
// what is missing and what to do stand beside it.
func TestServiceStateSaysWhatIsMissing(t *testing.T) {
	bare := errors.New("exit status 1")
	err := noState("thudbook-agent", bare)
	if !errors.Is(err, bare) {
		t.Errorf("the cause is lost: %v", err)
	}
	for _, part := range []string{"thudbook-agent", "service manager", "start the program by hand", "thudbook doctor"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not say %q", err, part)
		}
	}
}
